"""Why a message ends up where it does: one message followed through every rule and step, in words."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from rules.analysis.clock_findings import clock_advice
from rules.compiler.chain import Chain, DeliverLink, OutletLink, RangeLink, StepLink
from rules.compiler.compiler import Compiler
from rules.compiler.sources import BranchEntry, BranchPlan, PulledTrigger, SourceEntry, condition_of
from rules.compiler.switch_guards import guard_of
from rules.engine.evaluation import Walk
from rules.fields.conditions import Condition
from rules.fields.matching import split_any
from rules.midi.din import microseconds_on_wire
from rules.midi.messages import ACTIVE_SENSING, NOTE_ON, SYSEX, split_message
from rules.midi.notation import STANDARD, MessageText, Naming, format_message
from rules.program.forms import Form
from rules.program.guards import holds
from rules.program.lag import NO_LAG, Lag
from rules.program.switch_states import Layout, State
from rules.program.tables import NOWHERE, AnyNode, Table
from rules.rulefile.ruleset import RuleSet
from rules.rulefile.switch_tables import AdvanceTrigger, OnOffSwitch
from rules.timing.delays import AT_ONCE, Later, in_words, steady_nanoseconds


@dataclass(frozen=True, slots=True)
class TraceLine:
    """One line of the story. `depth` indents it; `outcomes` are what arrives there: (port, message); `late` says that a
    delay holds it up, `is_arrival` that a rule or the clock brought it to its port."""

    depth: int
    text: str
    outcomes: tuple[tuple[str, bytes], ...] = ()
    late: bool = False
    is_arrival: bool = False


@dataclass(frozen=True, slots=True)
class _Refusal:
    """Why a rule or zone does not take a message. What falls into a gap between zones counts as taken (ruling 6)."""

    reason: str
    counts_as_taken: bool = False


@dataclass(frozen=True, slots=True)
class _Passing:
    """A message on its way, and how late it is."""

    message: bytes
    lag: Lag


def trace(
    ruleset: RuleSet,
    source: str,
    message: bytes,
    switches: Mapping[str, State] | None = None,
    naming: Naming = STANDARD,
) -> list[TraceLine]:
    """The way of one message from a source, with switches as given (the others as at the start).

    Only today's rules are told, not what the ledger would add for notes that are held. Raises KeyError or ValueError
    for switches and states that don't exist.
    """
    return _Tracer(ruleset, source, switches or {}, naming).lines(message)


class _Tracer:
    def __init__(self, ruleset: RuleSet, source: str, switches: Mapping[str, State], naming: Naming) -> None:
        self._compiler = Compiler(ruleset, ())
        self._ruleset = ruleset
        self._source = source
        self._naming = naming
        self._word = self.layout.start
        for name, state in switches.items():
            self._word = self.layout.turned(self._word, name, state)

    # What a walk asks of its clerk; a trace turns no switch and has no time.

    @property
    def layout(self) -> Layout:
        """How switch states are packed."""
        return self._compiler.layout

    @property
    def word(self) -> int:
        """What the switches are at."""
        return self._word

    now = 0

    @property
    def later(self) -> Later:
        """A steady tempo is as good as any: only delays are told, not times."""
        return steady_nanoseconds(self._ruleset.bpm)

    def memory(self, node: AnyNode) -> Any:
        """Every node is asked as if this were the first message."""
        return node.fresh()

    def turned(self, walk: Walk, word: int) -> None:
        """What comes after sees the switches as they are then."""
        self._word = walk.word = word

    def lines(self, message: bytes) -> list[TraceLine]:
        """The whole story."""
        if message[0] == ACTIVE_SENSING:
            return [TraceLine(0, "goes nowhere: it tells that its source is alive, and nothing else")]
        entry = self._compiler.entry(self._source, self._compiler.clock_ports(self._source))
        passing = [_Passing(message, NO_LAG)]
        lines: list[TraceLine] = []
        if message[0] <= SYSEX:
            for link in self._compiler.port_steps(self._source):
                story, passing = self._through(link, passing, 0)
                lines += story
        for one in passing:
            lines += self._enter(entry, one)
        lines = _once(lines)
        return [*lines, *self._wires(lines)] or [TraceLine(0, "goes nowhere: the steps of its port drop it")]

    def _wires(self, lines: Sequence[TraceLine]) -> Iterator[TraceLine]:
        """How long all that arrives keeps the 5-pin wires busy."""
        for name, port in self._ruleset.ports.items():
            arrived = [message for line in lines for at, message in line.outcomes if at == name]
            if arrived and port.connection == "din":
                busy = microseconds_on_wire(arrived) / 1000
                yield TraceLine(0, f"keeps the DIN cable of {name} busy for {busy:g} ms")

    def _enter(self, entry: SourceEntry, one: _Passing) -> Iterator[TraceLine]:
        form = _form(one.message)
        triggers = self._compiler.triggers(self._source)
        pulling = [pulled for pulled in triggers if self._fits(form, [condition_of(pulled.trigger)])]
        for pulled in pulling:
            yield from self._pull(pulled, one, form)
        if not all(pulled.trigger.pass_on for pulled in pulling):
            return
        for port in entry.clocked(form):
            yield TraceLine(0, "clock and transport go by port")
            yield self._arrival(port, one, 1)
        taken = False
        for rule_lines, took in self._rules(entry, one, form):
            taken = taken or took
            yield from rule_lines
        if taken or entry.clocked(form):
            return
        is_signal = form.status > SYSEX
        reasons = clock_advice(self._compiler, self._source, form.status) if is_signal else ["no rule takes it"]
        yield from (TraceLine(0, f"goes nowhere: {reason}") for reason in reasons)

    def _pull(self, pulled: PulledTrigger, one: _Passing, form: Form) -> Iterator[TraceLine]:
        """What a message does to a switch, and what that sends."""
        before = self._word
        pulled.node.take(_Recorder(self, one), form.status, *split_message(one.message)[1:])
        passes = "and passes on" if pulled.trigger.pass_on else "and is not passed on"
        yield TraceLine(0, f"{_turning(pulled, self.layout, before, self._word)}, {passes}")
        for turned in self._ruleset.on_switch:
            guard = guard_of(self.layout, turned.when)
            if holds(guard, self._word) and not holds(guard, before):
                yield TraceLine(1, f"now {turned.when}, which sends:")
                for name, messages in turned.send.items():
                    yield from (self._sent_to(name, message) for message in messages)

    def _sent_to(self, name: str, written: MessageText) -> TraceLine:
        device = self._ruleset.devices.get(name)
        message = written.moved_to(device.channel if device is not None else None)
        port = self._ruleset.port_of(name)
        return TraceLine(2, f"to port {port}: {format_message(message, self._naming)}", ((port, message),))

    def _rules(self, entry: SourceEntry, one: _Passing, form: Form) -> Iterator[tuple[list[TraceLine], bool]]:
        for branch in self._compiler.branches:
            rule = branch.rule
            if self._source not in rule.source:
                continue
            zone = f", zone {branch.zone_number + 1}" if branch.zone is not None else ""
            head = f'rule "{rule.name}"{zone}: '
            refusal = self._refusal(entry, branch, form)
            if refusal is not None:
                yield [TraceLine(0, head + refusal.reason)], refusal.counts_as_taken
                continue
            lines = [TraceLine(0, head + "takes it")]
            lines += self._follow(branch.chain, [one], 1)
            yield lines, True

    def _refusal(self, entry: SourceEntry, branch: BranchPlan, form: Form) -> _Refusal | None:
        """Why a branch doesn't take a message; None when it does."""
        rule, zone = branch.rule, branch.zone
        if form.status > SYSEX and not rule.match:
            return _Refusal("clock and transport don't go by rules")
        if rule.match and not self._fits(form, rule.match):
            return _Refusal("it doesn't fit `match`")
        if rule.otherwise and not any(holds(left.guard, self._word) for left in entry.left([form])):
            return _Refusal("another rule took it (otherwise)")
        if rule.when is not None and not holds(guard_of(self.layout, rule.when), self._word):
            return _Refusal(f"not now: it waits for {rule.when}")
        if zone is not None and not self._fits(form, [zone]):
            return _Refusal("not in this zone", counts_as_taken=True)
        if zone is not None and zone.when is not None and not holds(guard_of(self.layout, zone.when), self._word):
            return _Refusal(f"not now: the zone waits for {zone.when}")
        return None if BranchEntry(branch).fold(form) else _Refusal("it doesn't fit")

    def _fits(self, form: Form, conditions: Sequence[Condition]) -> bool:
        return bool(split_any(form, conditions)[0])

    # -- along a chain ----------------------------------------------------------------------------------------------

    def _follow(self, chain: Chain, passing: Sequence[_Passing], depth: int) -> list[TraceLine]:
        lines: list[TraceLine] = []
        for link in chain:
            if isinstance(link, OutletLink):
                for one in passing:
                    lines += self._divide(link, one, depth)
                return lines
            story, passing = self._through(link, passing, depth)
            lines += story
            if not passing:
                return lines
            if isinstance(link, DeliverLink):
                return lines + self._arrivals(link, passing, depth)
        return lines

    def _divide(self, link: OutletLink, one: _Passing, depth: int) -> list[TraceLine]:
        """To every name that its channel leads to."""
        channel = _form(one.message).channel
        names = link.names_for(channel)
        if not names:
            return [TraceLine(depth, f"{self._told(one)}: `to` has nothing for channel {channel}, so it is dropped")]
        lines = []
        for name in names:
            lines.append(TraceLine(depth, f"{self._told(one)}: to {name}"))
            lines += self._follow(link.end_of(name), [one], depth + 1)
        return lines

    def _arrivals(self, link: DeliverLink, passing: Sequence[_Passing], depth: int) -> list[TraceLine]:
        return [self._arrival(link.target, one, depth) for one in passing]

    def _arrival(self, target: int, one: _Passing, depth: int) -> TraceLine:
        port = self._compiler.ports[target]
        later = _later(one.lag)
        text = f"arrives at port {port}: {self._told(one)}{later}"
        return TraceLine(depth, text, ((port, one.message),), late=bool(later), is_arrival=True)

    def _through(self, link: object, passing: Sequence[_Passing], depth: int) -> tuple[list[TraceLine], list[_Passing]]:
        """What one link makes of each message, and the words for it."""
        lines: list[TraceLine] = []
        after: list[_Passing] = []
        for one in passing:
            made = self._made(link, one)
            after += made
            if isinstance(link, StepLink):
                lines.append(TraceLine(depth, self._step_words(link, one, made)))
            elif isinstance(link, RangeLink) and [new.message for new in made] != [one.message]:
                told = ", ".join(map(self._told, made)) or "dropped"
                lines.append(TraceLine(depth, f"outside the notes of the device: {told}"))
        return lines, after

    def _step_words(self, link: StepLink, one: _Passing, made: Sequence[_Passing]) -> str:
        if link.when is not None and not holds(link.open, self._word):
            return f"{link.step.words(self._naming)}: not now, it waits for {link.when}"
        if [new.message for new in made] == [one.message] and made[0].lag == one.lag:
            return f"{link.step.words(self._naming)}: passes unchanged"
        told = ", ".join(self._told(new) + _later(new.lag) for new in made)
        return f"{link.step.words(self._naming)}: {told or 'dropped'}"

    def _made(self, link: object, one: _Passing) -> list[_Passing]:
        """The messages that one link makes of one message."""
        assert isinstance(link, StepLink | RangeLink | DeliverLink)
        form = _form(one.message)
        _, first, second = split_message(one.message)
        made: list[_Passing] = []
        for new in link.fold(form):
            if not new.exists or not holds(new.guard, self._word):
                continue
            walk = _Recorder(self, one)
            if new.node is not None:
                new.node.take(walk, new.status, new.lane().first(first, second), new.lane().second(first, second))
            else:
                walk.follow(None, new.status, new.lane().first(first, second), new.lane().second(first, second))
            made += walk.made
        return made

    def _told(self, one: _Passing) -> str:
        return format_message(one.message, self._naming)


class _Recorder(Walk):
    """A walk that notes what a node sends on, instead of following it."""

    __slots__ = ("made",)

    def __init__(self, clerk: _Tracer, one: _Passing) -> None:
        super().__init__(clerk, 0, 0, 0, clerk.word, one.message, NOWHERE)
        self.as_note_on = one.message[0] & 0xF0 == NOTE_ON
        self.lag = one.lag
        self.made: list[_Passing] = []

    def follow(self, table: Table | None, status: int, d1: int, d2: int) -> None:
        """Notes one message."""
        self.made.append(_Passing(self.written(status, d1, d2), self.lag))


def _once(lines: Sequence[TraceLine]) -> list[TraceLine]:
    """No message goes twice to one port at one time (ruling 7); what a switch sends is worded, and counts, apart."""
    arrived: set[str] = set()
    kept = []
    for line in lines:
        if line.is_arrival and line.text in arrived:
            kept.append(TraceLine(line.depth, f"{line.text}: it went there already, so it is sent once"))
        else:
            kept.append(line)
        if line.is_arrival:
            arrived.add(line.text)  # it tells port, message and time
    return kept


def _turning(pulled: PulledTrigger, layout: Layout, before: int, after: int) -> str:
    """What becomes of a switch, in words."""
    name, trigger = pulled.node.switch, pulled.trigger
    state = _state_words(layout.state(after, name))
    if before == after:
        return f'leaves the switch "{name}" at {state}'
    if isinstance(trigger, AdvanceTrigger):
        return f'advances the switch "{name}" by {trigger.by:+d} to {state}'
    verb = "toggles" if isinstance(trigger, OnOffSwitch) and trigger.mode == "toggle" else "turns"
    return f'{verb} the switch "{name}" to {state}'


def _state_words(state: State) -> str:
    return str(state) if not isinstance(state, bool) else "on" if state else "off"


def _form(message: bytes) -> Form:
    """The form of one message alone."""
    status, first, second = split_message(message)
    return Form(status) if status >= SYSEX else Form(status, gate_one=1 << first, gate_two=1 << second)


def _later(lag: Lag) -> str:
    return "" if lag.delay == AT_ONCE else f", {in_words(lag.delay.ms, lag.delay.beats)} later"
