"""One message's way through the tables: which lanes it takes, and what it becomes.

A walk reads switch states once, at arrival, and collects emissions. It changes no ledger and sends nothing.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, Protocol

from rules.midi.messages import LENGTH, NOTE_OFF, POLY_PRESSURE, SYSEX, split_message
from rules.program.byte_tables import NO_BYTE
from rules.program.guards import ALWAYS
from rules.program.holders import Copy
from rules.program.lag import NO_LAG, Lag, Queue
from rules.program.native import mypyc_attr
from rules.program.tables import Lane
from rules.program.thinning import Gate, Passage, Wait, Way
from rules.timing.delays import Delay, Later

if TYPE_CHECKING:
    from rules.program.switch_states import Layout, State
    from rules.program.tables import AnyNode, Table


class Clerk(Protocol):
    """What a walk asks of the engine."""

    @property
    def later(self) -> Later:
        """How delays become times."""
        ...

    @property
    def now(self) -> int:
        """The time of what is being done."""
        ...

    @property
    def word(self) -> int:
        """What the switches are at."""
        ...

    @property
    def layout(self) -> Layout:
        """How switch states are packed."""
        ...

    def memory(self, node: AnyNode) -> Any:
        """What a node remembers."""
        ...

    def turned(self, walk: Walk, word: int) -> None:
        """The switches are at `word` now."""
        ...


@dataclass(slots=True)
class Emission:
    """One message on its way out: to port number `target`, `lag` later than what caused it.

    `way` is what it meets from its first `thin` on. `copy` tells echo copies apart, `literal` marks what a `send` step
    wrote, `release` shapes the release velocity to come.
    """

    target: int
    message: bytes
    lag: Lag
    copy: Copy
    literal: bool
    release: bytes | None
    way: Way = ()

    @property
    def likeness(self) -> tuple[object, ...]:
        """What makes two emissions of one message identical: port, bytes and delay (ruling 7)."""
        delay = self.lag.delay
        for station in self.way:
            if isinstance(station, Wait):
                delay += station.delay
        return self.target, self.message, delay

    @property
    def streams(self) -> tuple[object, ...]:
        """The gates on its way."""
        return tuple(station.stream for station in self.way if isinstance(station, Gate))


@mypyc_attr(allow_interpreted_subclasses=True)
class Walk:
    """The state of one walk. Nodes read and set `lag`, `copy` and `way` around what they follow.

    `heard`: what makes notes of values, and `send`, were told: True for a value of 64 and above. `trying`: only to see
    where a message would go; nodes remember nothing of it. `catching_up`: a value that is known from before; it fires
    nothing and makes no notes.
    """

    __slots__ = (
        "_answers",
        "_passages",
        "as_note_on",
        "catching_up",
        "clerk",
        "copy",
        "emissions",
        "heard",
        "in_key",
        "lag",
        "literal",
        "now",
        "payload",
        "player",
        "release",
        "rule",
        "swallowed",
        "table",
        "trying",
        "way",
        "word",
    )

    def __init__(
        self, clerk: Clerk, player: int, in_key: int, now: int, word: int, payload: bytes, table: Table
    ) -> None:
        self.clerk = clerk
        self.player = player
        self.in_key = in_key
        self.now = now
        self.word = word
        self.payload = payload
        self.lag: Lag = NO_LAG
        self.copy: Copy = ()
        self.literal = False
        self.as_note_on = False
        self.trying = False
        self.catching_up = False
        self.swallowed = False
        self.table = table
        self.rule = ""
        self.release: bytes | None = None
        self.way: Way = ()
        self._passages: dict[tuple[object, ...], Passage] = {}
        self._answers: dict[tuple[object, ...], bool] = {}
        self.emissions: list[Emission] = []
        self.heard: list[bool] = []

    def follow(self, table: Table | None, status: int, d1: int, d2: int) -> None:
        """Takes every lane that a table has for a message; system messages are looked up by their status alone.

        Switches turn before the other lanes are asked, and those are asked all at once.
        """
        assert table is not None
        if status >= SYSEX:
            d1 = d2 = 0
        lanes = table.rows[status & 0x7F][d1].lanes
        for lane in lanes:
            if lane.turns and self._is_open(lane, d2):
                self._take(lane, d1, d2)
        for lane in [lane for lane in lanes if not lane.turns and self._is_open(lane, d2)]:
            self._take(lane, d1, d2)

    def _is_open(self, lane: Lane, d2: int) -> bool:
        if lane.gate[d2] == NO_BYTE:
            return False
        return lane.guard == ALWAYS or any(self.word & mask == value for mask, value in lane.guard)

    def _take(self, lane: Lane, d1: int, d2: int) -> None:
        first, second = lane.first(d1, d2), lane.second(d1, d2)
        if lane.node is not None:
            rule, release = self.rule, self.release
            self.rule, self.release = lane.rule or rule, _one_after_the_other(release, lane.release)
            lane.node.take(self, lane.status, first, second)
            self.rule, self.release = rule, release
            return
        message = self.written(lane.status, first, second)
        lag, way = self.lag, self.way
        if way and (self.literal or lane.status < POLY_PRESSURE):
            lag, way = self._past_gates(), ()
        release = _one_after_the_other(self.release, lane.release)
        self.emissions.append(Emission(lane.target, message, lag, self.copy, self.literal, release, way))

    def _past_gates(self) -> Lag:
        """The lag of a note, or of what a `send` fires: no gate holds it back."""
        lag = self.lag
        for station in self.way:
            if isinstance(station, Wait):
                lag = station.after(lag, self.now, self.clerk.later)
        return lag

    def written(self, status: int, first: int, second: int) -> bytes:
        """The bytes of a message of this walk; a note-off keeps the form that it came in (ruling 12)."""
        if status >= SYSEX:
            return self.payload
        if LENGTH[status] == 2:
            return bytes((status, first))
        if self.as_note_on and status & 0xF0 == NOTE_OFF and not self.literal:
            return bytes((status | 0x10, first, 0))
        return bytes((status, first, second))

    def send(self, table: Table | None, message: bytes) -> None:
        """Follows a message that a step wrote itself."""
        if self.trying:
            return
        before = self.literal, self.payload, self.release
        self.literal, self.payload, self.release = True, message, None
        self.follow(table, *split_message(message))
        self.literal, self.payload, self.release = before

    def passage(self, name: tuple[object, ...]) -> Passage:
        """What lets all that is made of one message pass a gate together."""
        return self._passages.setdefault(name, Passage())

    def first_time(self, name: tuple[object, ...], answer: Callable[[], bool]) -> bool:
        """An answer that changes what is remembered: it is given once, however many ways a message takes from there."""
        if name not in self._answers:
            self._answers[name] = answer()
        return self._answers[name]

    def wait(self, delay: Delay, queue: Queue | None, channel: int) -> None:
        """A delay on the way, in a queue for this rule and a channel (0-15, 16 for none), if it has one."""
        wait = Wait(delay, queue, (self.rule, channel))
        if self.way:
            self.way = (*self.way, wait)
        else:
            self.lag = wait.after(self.lag, self.now, self.clerk.later)

    def turn(self, switch: str, state: State) -> None:
        """Turns a switch; what that sends goes out at once, and the rest of the walk sees the new state."""
        self.clerk.turned(self, self.clerk.layout.turned(self.clerk.word, switch, state))

    def toggle(self, switch: str) -> None:
        """The same for a switch that goes to its other state."""
        layout = self.clerk.layout
        self.clerk.turned(self, layout.turned(self.clerk.word, switch, not layout.state(self.clerk.word, switch)))

    def step_switch(self, switch: str, by: int) -> None:
        """The same for a switch that goes on by so many."""
        self.clerk.turned(self, self.clerk.layout.stepped(self.clerk.word, switch, by))

    def memory(self, node: AnyNode) -> Any:
        """What a node remembers in this engine."""
        return self.clerk.memory(node)

    def due(self, lag: Lag) -> int:
        """When what has this lag goes out."""
        return lag.due(self.now, self.clerk.later)


def _one_after_the_other(first: bytes | None, second: bytes | None) -> bytes | None:
    """Two tables for release velocities as one."""
    if first is None or second is None:
        return second if first is None else first
    return first.translate(second)
