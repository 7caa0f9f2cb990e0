"""One message's way through the tables: which lanes it takes, and what it becomes.

Switch states are read once, when it begins, and events are collected. It changes no ledger and sends nothing. It goes
on through nodes that don't wait; at one that waits it ends with an event for that node.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import Any, Protocol

from rules.engine.delivery import Sent
from rules.engine.node_memories import NodeMemories
from rules.engine.waiting_nodes import Wake
from rules.midi.messages import KEY_PRESSURE, LENGTH, NOTE_OFF, NOTE_ON, SYSEX, split_message
from rules.program.byte_tables import NO_BYTE
from rules.program.clock_orders import ClockOrder
from rules.program.event import Copy, Event
from rules.program.guards import ALWAYS
from rules.program.node import CodeChange
from rules.program.tables import AnyNode, Lane, Table
from rules.timing.delays import AT_ONCE, Delay, Later


class EvaluationHost(Protocol):
    """What an evaluation asks of the engine."""

    @property
    def word(self) -> int:
        """What the switches are at."""
        ...

    @property
    def memories(self) -> NodeMemories:
        """What nodes remember."""
        ...

    def target_of(self, node: AnyNode) -> int:
        """The number, below zero, by which events go to a node that waits."""
        ...

    @property
    def later(self) -> Later:
        """How delays become times."""
        ...

    def turn_by_player(
        self, switch: str, change: CodeChange, player: int, now: int, out: list[Sent], *, again: bool = False
    ) -> bool:
        """Turn a switch by a message of a player, and return whether it has turned; see `NodeContext.turn`."""
        ...

    def order_clock(self, order: ClockOrder) -> None:
        """Note what a trigger asks of our clock."""
        ...

    def schedule(self, wake: Wake, now: int) -> int:
        """Wake a node when its time has come; return what `cancel` wants."""
        ...

    def cancel(self, wake: int) -> None:
        """Wake no node for this."""
        ...


class Evaluation:
    """The state of one evaluation.

    `start` is the message itself, at the beginning of `table`. `trying`: only to see where it would go; nodes remember
    nothing of it. `through`: nodes that wait let it pass, to see where it ends up. `known`: a value that came before;
    it fires nothing and makes no notes. `ahead`: how many nodes that keep values it has gone past, to see what isn't
    kept. `heard`: what makes notes of values, and `send`, were told: True for a value of 64 and above.
    """

    __slots__ = (
        "ahead",
        "as_note_on",
        "consumed",
        "events",
        "heard",
        "host",
        "known",
        "now",
        "out",
        "start",
        "table",
        "through",
        "trying",
        "word",
    )

    def __init__(self, host: EvaluationHost, start: Event, table: Table, now: int, out: list[Sent]) -> None:
        self.host = host
        self.start = start
        self.table = table
        self.now = now
        self.out = out
        self.word = start.word
        self.known = start.known
        # a note-off keeps the form in which it came (ruling 12)
        self.as_note_on = start.message[0] & 0xF0 == NOTE_ON
        self.ahead = 0
        self.trying = False
        self.through = False
        self.consumed = False
        self.events: list[Event] = []
        self.heard: list[bool] = []

    def run(self) -> None:
        """Follow the message that it begins with."""
        status, first, second = split_message(self.start.message)
        self.follow(self.table, self.start, status, first, second)

    def follow(self, table: Table | None, event: Event, status: int, d1: int, d2: int) -> None:
        """Take every lane that a table has for a message; system messages are looked up by their status alone.

        Switches turn before the other lanes are asked, and those are asked all at once. The event goes by the switches
        as they are where it came from: only here, and behind the steps of a port, by what has been turned (ruling 25).
        """
        assert table is not None
        if status >= SYSEX:
            d1 = d2 = 0
        lanes = table.rows[status & 0x7F][d1].lanes
        for lane in lanes:
            if lane.turns and _is_open(lane, d2, event.word):
                self._take(lane, event, d1, d2)
                event.word = event.family.word
        for lane in [lane for lane in lanes if not lane.turns and _is_open(lane, d2, event.word)]:
            self._take(lane, event, d1, d2)

    def _take(self, lane: Lane, event: Event, d1: int, d2: int) -> None:
        status, first, second = lane.status, lane.first(d1, d2), lane.second(d1, d2)
        node = lane.node
        if node is None:
            # What a node keeps is evaluated when it goes on. What it doesn't keep is notes, and what a `send` wrote.
            if not self.ahead or event.literal or status < KEY_PRESSURE:
                made = event.derived(self._written(event, status, first, second))
                made.target = lane.target
                made.node = None
                self._end(made, lane)
            return
        at = event.derived(event.message)
        at.node = node.main
        at.rule = lane.rule or event.rule
        at.release = _one_after_the_other(event.release, lane.release)
        if not node.keeps_word:
            at.word = self.word = at.family.word
        if node.waits:
            self._reach(at, node, lane, status, first, second)
        else:
            node.take(self.host.memories.of(node.main), at, status, first, second, self)

    def _reach(self, event: Event, node: AnyNode, lane: Lane, status: int, first: int, second: int) -> None:
        """Make an event for a node that waits, and follow what goes past it."""
        if self.through or (node.thins and event.literal):
            self.follow(node.after, event, status, first, second)
            return
        # Behind most nodes that thin nothing makes notes of values, fires, turns or learns: there a look at what goes
        # past them would find nothing, and all that values become is evaluated when they go on.
        if node.thins and node.after is not None and node.after.acts:
            self.ahead += 1
            self.follow(node.after, event, status, first, second)
            self.ahead -= 1
        if self.ahead and not event.literal and status >= KEY_PRESSURE:
            return  # it comes here again when the node before lets it go on
        made = event.derived(self._written(event, status, first, second))
        made.target = self.host.target_of(node)
        made.release = event.release
        if node.thins:
            made.word = made.family.word
        self.events.append(made)

    def _end(self, made: Event, lane: Lane) -> None:
        made.release = _one_after_the_other(made.release, lane.release)
        self.events.append(made)

    def _written(self, event: Event, status: int, first: int, second: int) -> bytes:
        """The bytes of a message that came along as `event`."""
        if status >= SYSEX:
            return event.message
        if LENGTH[status] == 2:
            return bytes((status, first))
        if self.as_note_on and status & 0xF0 == NOTE_OFF and not event.literal:
            return bytes((status | 0x10, first, 0))
        return bytes((status, first, second))

    # -- what nodes ask -----------------------------------------------------------------------------------------------

    def emit(
        self,
        event: Event,
        status: int,
        d1: int,
        d2: int,
        *,
        after: Delay = AT_ONCE,
        copy: Copy = (),
        ordered: bool = False,
        from_now: bool = False,
    ) -> None:
        """Go on behind a node; delays add up on the way."""
        node = event.node
        assert node is not None
        if copy or ordered or after is not AT_ONCE:
            event = event.derived(event.message)
            if copy:
                event.copy = (*event.copy, *copy)
            elif ordered and not event.copy:  # an echo holds up nothing (ruling 22)
                event.names = (*event.names, (node.memory_key, event.rule))
            event.delay = after if event.delay is AT_ONCE else event.delay + after
        self.follow(node.after, event, status, d1, d2)

    def send(self, event: Event, message: bytes, after: Delay = AT_ONCE) -> None:
        """Go on with a message that a step wrote itself."""
        assert event.node is not None
        if self.trying:
            return
        written = event.derived(message)
        written.literal = True
        written.release = None
        if after is not AT_ONCE:
            written.delay = after if event.delay is AT_ONCE else event.delay + after
        self.follow(event.node.after, written, *split_message(message))

    def once(self, name: tuple[object, ...], answer: Callable[[], Any]) -> Any:
        """An answer that changes what is remembered: it is given once for all that becomes of a message."""
        return self.start.family.once(name, answer)

    def turn(self, switch: str, change: CodeChange, player: int, *, again: bool = False) -> None:
        """Turn a switch; what that sends goes out at once, and the rest of the evaluation sees the new state."""
        if self.host.turn_by_player(switch, change, player, self.now, self.out, again=again):
            self.word = self.start.family.word = self.host.word

    def order_clock(self, order: ClockOrder) -> None:
        """Ask our clock for something."""
        self.host.order_clock(order)

    def later(self, base: int, delay: Delay) -> int:
        """The time after a delay."""
        return self.host.later(base, delay)

    def wake(self, node: AnyNode, key: object, base: int, delay: Delay) -> int:
        """Wake a node later."""
        return self.host.schedule(Wake(node, key, base, delay), self.now)

    def cancel(self, wake: int) -> None:
        """Cancel a wake."""
        self.host.cancel(wake)


def _is_open(lane: Lane, d2: int, word: int) -> bool:
    if lane.gate[d2] == NO_BYTE:
        return False
    return lane.guard == ALWAYS or any(word & mask == value for mask, value in lane.guard)


def _one_after_the_other(first: bytes | None, second: bytes | None) -> bytes | None:
    """Two tables for release velocities as one."""
    if first is None or second is None:
        return second if first is None else first
    return first.translate(second)
