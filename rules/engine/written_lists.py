"""Lists of messages in the rule file that go out by themselves: the setups of devices, and the actions of switches.

Nobody holds what they send, so it goes past ledgers and merge. A list may have pauses: what comes later in it waits in
the scheduler, and is dropped there once it would be wrong: when the condition of its action is no longer true, or when
the list begins again. What ends a note is never dropped. In a live session a DIN connection needs its time for what is
sent there at once: a pause for a slow instrument begins after that.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable
from fractions import Fraction
from functools import lru_cache

from rules.engine.delivery import Sent
from rules.engine.waiting_nodes import Wake
from rules.midi.din import MICROSECONDS_A_BYTE
from rules.midi.messages import is_note_on
from rules.midi.neutral import ends_held
from rules.program.clock_orders import ClockOrder
from rules.program.event import Event
from rules.program.guards import holds
from rules.program.pipeline import Pipeline, SwitchAction, WrittenMessage
from rules.timing.delays import AT_ONCE, Delay, Later
from rules.timing.scheduler import Scheduler

NOBODY = -1
"""The player of what no player caused: a setup, a panic, a switch turned by a command."""

Messages = tuple[WrittenMessage, ...]


class Planned:
    """A message of a list that waits for its time, caused by `player`. `messages` are the list; None: a setup."""

    __slots__ = ("messages", "player", "written")

    def __init__(self, written: WrittenMessage, player: int, messages: Messages | None) -> None:
        self.written = written
        self.player = player
        self.messages = messages


class Chase:
    """What is in the scheduler for a port that returned, until all that it wants first has gone there."""

    __slots__ = ("target",)

    def __init__(self, target: int) -> None:
        self.target = target


Entry = Event | Wake | Planned | Chase
"""What is in the scheduler."""


class WrittenLists:
    """The lists of one engine.

    `effects` are those that actions asked for, `orders` those to our clock, in order; who carries them out takes them
    out.
    """

    __slots__ = ("_carried", "_later", "_ready", "_scheduler", "effects", "orders")

    def __init__(self, scheduler: Scheduler[Entry], later: Later) -> None:
        self._scheduler = scheduler
        self._later = later
        self._ready: dict[int, int] = {}
        """When the setups of a port have gone: actions begin there after them, or else they would be undone."""
        self._carried: dict[int, int] = {}
        """In a live session, when each DIN wire has carried what it was given: pauses begin there after that."""
        self.effects: list[str] = []
        self.orders: list[ClockOrder] = []

    # -- begin, turn, return ------------------------------------------------------------------------------------------

    def begin(self, pipeline: Pipeline, word: int, now: int, out: list[Sent], ahead: int = 0) -> None:
        """Send what devices want, then the messages of actions that are true from the beginning.

        So many bytes go to each output ahead of them, at the same time.
        """
        self._carried = dict.fromkeys(pipeline.din, self._later(now, _on_wire(ahead)))
        self._set_up(pipeline.setups, now, out)
        for action in pipeline.actions:
            if action.initially and holds(action.guard, word):
                self._set_tempo(action)
                self._send(action.messages, action.messages, NOBODY, now, out)

    def turned(self, pipeline: Pipeline, before: int, word: int, player: int, now: int, out: list[Sent]) -> None:
        """Run actions that have become true; stop the messages of those that aren't true any more."""
        over = [each for each in pipeline.actions if holds(each.guard, before) and not holds(each.guard, word)]
        for action in over:
            self._drop_list(action.messages)
        for action in pipeline.actions:
            if holds(action.guard, word) and not holds(action.guard, before):
                self._act(action, player, now, out)

    def again(self, pipeline: Pipeline, switch: str, word: int, player: int, now: int, out: list[Sent]) -> None:
        """Run the actions of a state again: a switch was set to the state that it is in."""
        field = pipeline.layout.fields[switch]
        others = [word & ~field.mask | code << field.shift for code in range(len(field.states))]
        for action in pipeline.actions:
            if holds(action.guard, word) and not all(holds(action.guard, other) for other in others):
                self._act(action, player, now, out)

    def bring_back(self, pipeline: Pipeline, word: int, target: int, now: int, out: list[Sent], ahead: int) -> int:
        """Send a port that has returned what its devices want, then actions true by now; return when all has gone.

        So many bytes go there ahead of them, at the same time.
        """
        self._scheduler.take(lambda entry: _target(entry) == target)
        self._ready.pop(target, None)
        if target in self._carried:
            self._carried[target] = self._later(now, _on_wire(ahead))
        self._set_up([each for each in pipeline.setups if each.target == target], now, out)
        end = self._ready.get(target, now)
        for action in pipeline.actions:
            if holds(action.guard, word):
                mine = [each for each in action.messages if each.target == target]
                end = max(end, self._send(mine, action.messages, NOBODY, now, out))
        return end

    # -- ends ---------------------------------------------------------------------------------------------------------

    def replace(self, old: Pipeline, old_word: int, pipeline: Pipeline, word: int, now: int, out: list[Sent]) -> None:
        """Go on by new rules: send new setups, run actions that have become true, end what neither set of rules wants.

        Ports keep their numbers, and lists are compared by what they send.
        """
        stood = [action for action in old.actions if holds(action.guard, old_word)]
        before, tempos = {action.messages for action in stood}, {(action.messages, action.tempo) for action in stood}
        standing = [action for action in pipeline.actions if holds(action.guard, word)]
        wanted = {action.messages for action in standing}
        setups, old_setups = set(pipeline.setups), set(old.setups)
        self._drop(lambda plan: plan.written not in setups if plan.messages is None else plan.messages not in wanted)
        self._carried = {target: self._carried.get(target, now) for target in pipeline.din}
        self._set_up([each for each in pipeline.setups if each not in old_setups], now, out)
        for action in standing:
            if action.initially and (action.messages, action.tempo) not in tempos:
                self._set_tempo(action)
            if action.initially and action.messages not in before:
                self._send(action.messages, action.messages, NOBODY, now, out)

    def silence(self, size: int, now: int) -> None:
        """Let no note of a list begin any more (panic). So many bytes go to each output."""
        self._scheduler.take(lambda entry: isinstance(entry, Planned) and is_note_on(entry.written.message))
        for target in self._carried:
            self._carry(target, size, now)

    def leave(self, leaving: Callable[[int], bool], now: int, out: list[Sent]) -> None:
        """Send what is still to come for ports that are left, where it ends something; drop the rest."""
        for entry in self._scheduler.take(lambda entry: leaving(_target(entry))):
            if isinstance(entry, Planned) and ends_held(entry.written.message):
                out.append((entry.written.target, entry.written.message, now, entry.player))
        for times in (self._ready, self._carried):
            for target in [target for target in times if leaving(target)]:
                del times[target]

    # -- lists --------------------------------------------------------------------------------------------------------

    def _act(self, action: SwitchAction, player: int, now: int, out: list[Sent]) -> None:
        self.effects += action.effects
        self._drop_list(action.messages)
        self._send(action.messages, action.messages, player, now, out)
        self._set_tempo(action)
        self.orders += action.orders

    def _set_tempo(self, action: SwitchAction) -> None:
        if action.tempo is not None:
            self.orders.append(action.tempo)

    def _set_up(self, setups: Iterable[WrittenMessage], now: int, out: list[Sent]) -> None:
        for each in setups:
            due = now if each.after is AT_ONCE else self._later(self._begins(each.target, now), each.after)
            self._go(due, Planned(each, NOBODY, None), now, out)
            self._ready[each.target] = max(due, self._ready.get(each.target, now))

    def _send(self, messages: Iterable[WrittenMessage], whole: Messages, player: int, now: int, out: list[Sent]) -> int:
        """Send messages of a list; return when the last of them is due."""
        end = now
        for each in messages:
            due = max(now, self._ready.get(each.target, now))
            if each.after is not AT_ONCE:
                due = self._later(self._begins(each.target, due), each.after)
            self._go(due, Planned(each, player, whole), now, out)
            end = max(end, due)
        return end

    def _go(self, due: int, plan: Planned, now: int, out: list[Sent]) -> None:
        written = plan.written
        if written.after is AT_ONCE or due <= now:  # a pause in its list begins behind it, though it may have to wait
            self._carry(written.target, len(written.message), due)
        if due <= now:
            out.append((written.target, written.message, now, plan.player))
        else:
            self._scheduler.add(due, plan)

    def send(self, plan: Planned, due: int, out: list[Sent]) -> None:
        """Send what has waited in the scheduler."""
        written = plan.written
        if written.after is not AT_ONCE:
            self._carry(written.target, len(written.message), due)
        out.append((written.target, written.message, due, plan.player))

    def _carry(self, target: int, size: int, now: int) -> None:
        """Note what a wire, if it is one, has to carry from a time on."""
        if target in self._carried:
            self._carried[target] = self._later(self._begins(target, now), _on_wire(size))

    def _begins(self, target: int, now: int) -> int:
        """Return when a pause begins at a port."""
        return max(now, self._carried.get(target, now))

    def _drop_list(self, messages: Messages) -> None:
        """Drop what is still to come of a list, but for what ends something."""
        if any(each.after is not AT_ONCE or each.target in self._ready for each in messages):
            self._drop(lambda plan: plan.messages == messages)

    def _drop(self, unwanted: Callable[[Planned], bool]) -> None:
        self._scheduler.take(
            lambda entry: isinstance(entry, Planned) and unwanted(entry) and not ends_held(entry.written.message)
        )


@lru_cache(maxsize=64)
def _on_wire(size: int) -> Delay:
    """Return how long a DIN wire takes for so many bytes."""
    return Delay(Fraction(size * MICROSECONDS_A_BYTE, 1_000))


def _target(entry: Entry) -> int:
    """Return the port that an entry of a list is for; below zero for other entries."""
    if isinstance(entry, Planned):
        return entry.written.target
    return entry.target if isinstance(entry, Chase) else -1
