"""Lists of messages in the rule file that go out by themselves: setups of devices, and what switches send."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass, field, replace
from fractions import Fraction
from typing import Any

from rules.fields.written_messages import DelayedMessage
from rules.rulefile.rule_tables import OnSwitch
from rules.rulefile.ruleset import RuleSet
from rules.timing.delays import AT_ONCE, Delay
from tests.model import facts
from tests.model.asking import holds
from tests.model.merging import Out

NOBODY = -1
"""The player of what nobody played: a setup, a switch turned by hand, a panic."""

Switches = Mapping[str, bool | int | str]


@dataclass(frozen=True, slots=True)
class Plan:
    """A message of a list, `after` the list begins; `whole` is the list, None for a setup."""

    port: str
    message: bytes
    after: Delay
    whole: tuple[object, ...] | None = None
    player: int = NOBODY


@dataclass(slots=True)
class Lists:
    """What is sent of lists, and what is still to come.

    `after` counts a delay. `add` puts a plan on the agenda, `drop` takes those off that it is asked about, and returns
    them in their order. `ready` says when the setups of a port have gone, since what switches send comes after them;
    `wires` when each DIN output has carried what was sent at once.
    """

    after: Callable[[int, Delay], int]
    add: Callable[[int, Plan], None]
    drop: Callable[[Callable[[Plan], bool]], list[Plan]]
    ready: dict[str, int] = field(default_factory=dict)
    wires: dict[str, int] = field(default_factory=dict)
    orders: list[str | float] = field(default_factory=list)
    """What our clock is asked for, a word or a tempo (BPM); who has the clock takes it out."""

    def begin(self, ruleset: RuleSet, switches: Switches, now: int, out: Out) -> None:
        """A live session begins."""
        self.wires = dict.fromkeys(_on_din(ruleset), now)
        self._set_up(_setups(ruleset), now, out)
        for entry in ruleset.on_switch:
            if entry.initially and holds(entry.when, switches):
                self._ask_tempo(entry)
                self._send(_plans(ruleset, entry), NOBODY, now, out)

    def turned(self, ruleset: RuleSet, before: Switches, switches: Switches, player: int, now: int, out: Out) -> None:
        """A switch has turned."""
        for entry in ruleset.on_switch:
            if holds(entry.when, before) and not holds(entry.when, switches):
                self._drop_list(_whole(ruleset, entry))
        for entry in ruleset.on_switch:
            if holds(entry.when, switches) and not holds(entry.when, before):
                self._act(ruleset, entry, player, now, out)

    def again(
        self, ruleset: RuleSet, switches: Switches, others: list[Switches], player: int, now: int, out: Out
    ) -> None:
        """A switch was set to what it is at; at something else, these would be the `others`."""
        for entry in ruleset.on_switch:
            if holds(entry.when, switches) and not all(holds(entry.when, other) for other in others):
                self._act(ruleset, entry, player, now, out)

    def bring_back(self, ruleset: RuleSet, switches: Switches, port: str, now: int, out: Out, ahead: int) -> int:
        """A port has returned, and got so many bytes of silence; when all has gone there."""
        self.drop(lambda plan: plan.port == port)
        self.ready.pop(port, None)
        if port in self.wires:
            self.wires[port] = now
            self._carry(port, ahead, now)
        self._set_up([plan for plan in _setups(ruleset) if plan.port == port], now, out)
        end = self.ready.get(port, now)
        for entry in ruleset.on_switch:
            if holds(entry.when, switches):
                there = [plan for plan in _plans(ruleset, entry) if plan.port == port]
                end = max(end, self._send(there, NOBODY, now, out))
        return end

    def panic(self, size: int, now: int) -> None:
        """No note begins any more; each output gets so many bytes of silence."""
        self.drop(lambda plan: facts.is_on(plan.message))
        for port in self.wires:
            self._carry(port, size, now)

    def send(self, plan: Plan, now: int, out: Out) -> None:
        """A message goes out that was on the agenda."""
        if plan.after != AT_ONCE:
            self._carry(plan.port, len(plan.message), now)
        out.append((plan.port, plan.message, now, plan.player))

    def leave(self, gone: set[str], now: int, out: Out) -> None:
        """Ports are gone."""
        for plan in self.drop(lambda plan: plan.port in gone):
            if _ends_something(plan):
                out.append((plan.port, plan.message, now, plan.player))
        self.ready = {port: due for port, due in self.ready.items() if port not in gone}
        self.wires = {port: free for port, free in self.wires.items() if port not in gone}

    def replace(
        self, old: RuleSet, old_switches: Switches, new: RuleSet, switches: Switches, now: int, out: Out
    ) -> None:
        """New rules: what neither they nor the switches want any more is dropped, and what they add goes out."""
        stood = [_whole(old, entry) for entry in old.on_switch if holds(entry.when, old_switches)]
        stands = [entry for entry in new.on_switch if holds(entry.when, switches)]
        wanted = [_whole(new, entry) for entry in stands]
        setups = _setups(new)
        self.drop(
            lambda plan: (
                not _ends_something(plan) and (plan not in setups if plan.whole is None else plan.whole not in wanted)
            )
        )
        self.wires = {port: self.wires.get(port, now) for port in _on_din(new)}
        self._set_up([plan for plan in setups if plan not in _setups(old)], now, out)
        asked = [(_whole(old, entry), entry.bpm) for entry in old.on_switch if holds(entry.when, old_switches)]
        for entry in stands:
            if entry.initially and (_whole(new, entry), entry.bpm) not in asked:
                self._ask_tempo(entry)
            if entry.initially and _whole(new, entry) not in stood:
                self._send(_plans(new, entry), NOBODY, now, out)

    def _act(self, ruleset: RuleSet, entry: OnSwitch, player: int, now: int, out: Out) -> None:
        self._drop_list(_whole(ruleset, entry))
        self._send(_plans(ruleset, entry), player, now, out)
        self._ask_tempo(entry)
        self.orders += [effect.removeprefix("clock ") for effect in entry.do if effect.startswith("clock ")]

    def _ask_tempo(self, entry: OnSwitch) -> None:
        if entry.bpm is not None:
            self.orders.append(entry.bpm)

    def _set_up(self, plans: Iterable[Plan], now: int, out: Out) -> None:
        for plan in plans:
            due = self._due(plan, now)
            self._go(plan, due, now, out)
            self.ready[plan.port] = max(due, self.ready.get(plan.port, now))

    def _send(self, plans: Iterable[Plan], player: int, now: int, out: Out) -> int:
        """At each port after its setups; when the last of it is due."""
        end = now
        for plan in plans:
            due = self._due(plan, max(now, self.ready.get(plan.port, now)))
            self._go(replace(plan, player=player), due, now, out)
            end = max(end, due)
        return end

    def _due(self, plan: Plan, begin: int) -> int:
        """A pause on a wire begins when the wire has carried what was sent at once."""
        if plan.after == AT_ONCE:
            return begin
        return self.after(max(begin, self.wires.get(plan.port, begin)), plan.after)

    def _go(self, plan: Plan, due: int, now: int, out: Out) -> None:
        if plan.after == AT_ONCE or due <= now:
            self._carry(plan.port, len(plan.message), due)
        if due <= now:
            out.append((plan.port, plan.message, now, plan.player))
        else:
            self.add(due, plan)

    def _carry(self, port: str, size: int, begin: int) -> None:
        """A wire is busy with so many bytes (MIDI 1.0 Detailed Specification 4.2.1, p. 1)."""
        if port in self.wires:
            self.wires[port] = self.after(max(begin, self.wires[port]), Delay(Fraction(size * 320, 1000)))

    def _drop_list(self, whole: tuple[object, ...]) -> None:
        """What is still to come of a list doesn't come, but for what ends something."""
        self.drop(lambda plan: plan.whole == whole and not _ends_something(plan))


def _on_din(ruleset: RuleSet) -> list[str]:
    """The outputs at the end of a 5-pin cable."""
    return [name for name, port in ruleset.ports.items() if port.can_send and port.connection == "din"]


def _setups(ruleset: RuleSet) -> list[Plan]:
    """What devices want to be sent first (ruling 8)."""
    return [plan for name, device in ruleset.devices.items() for plan in _addressed(ruleset, name, device.setup)]


def _plans(ruleset: RuleSet, entry: OnSwitch) -> list[Plan]:
    """The messages of an `[[on_switch]]`, in their order."""
    plans = [plan for name, written in entry.send.items() for plan in _addressed(ruleset, name, written)]
    whole = tuple((plan.port, plan.message, plan.after) for plan in plans)
    return [replace(plan, whole=whole) for plan in plans]


def _whole(ruleset: RuleSet, entry: OnSwitch) -> tuple[Any, ...]:
    """What tells one list from another: all that it sends, and where to."""
    return next((plan.whole or () for plan in _plans(ruleset, entry)), ())


def _addressed(ruleset: RuleSet, name: str, written: Iterable[DelayedMessage]) -> list[Plan]:
    """Messages for a device or port, on the device's channel."""
    channel = ruleset.devices[name].channel if name in ruleset.devices else None
    port = ruleset.port_of(name)
    return [Plan(port, each.message.moved_to(channel), each.after) for each in written]


def _ends_something(plan: Plan) -> bool:
    """A note-off, or a value at rest of what is held like a note."""
    return facts.has_channel(plan.message) and (facts.is_off(plan.message) or facts.is_at_rest(plan.message))
