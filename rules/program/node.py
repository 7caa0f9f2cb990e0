"""Nodes: steps with a memory, and what they may ask and do."""

from __future__ import annotations

from abc import ABC, abstractmethod
from collections.abc import Callable
from fractions import Fraction
from typing import Any, ClassVar, Final, NamedTuple, Protocol

from rules.program.byte_tables import ALL, FIRST, IDENTITY, SECOND, gate_of
from rules.program.clock_orders import ClockOrder
from rules.program.event import Copy, Event
from rules.program.switch_states import SwitchField
from rules.program.tables import NodeKey, Table
from rules.timing.delays import AT_ONCE, Delay

LOW_VALUES: Final = gate_of(range(64))
"""The values that count as off; a node that waits for a value to rise remembers one of these before."""


UNTIL_OTHERS: Final = Delay(ms=Fraction(-1))
"""What a note `lasts` that other keys end: no time says how long."""


class NodeResult(NamedTuple):
    """One thing that a node makes of messages of one status.

    Of those whose data bytes lie in `gate_one` and `gate_two` it makes messages of `status`, whose data bytes are the
    tables `one` and `two` of the byte `feed_one` or `feed_two` (1 or 2). They go on `after` a delay, and a note `lasts`
    a fixed time, or UNTIL_OTHERS end it (None: as long as its key is held). What isn't made of its data bytes is
    `written` by the step, byte for byte. It is so where the node remembers a value (0-127) of the gate `remembered`:
    that of the same messages before, or, `of_pair`, the coarse half of a pair. Most remember nothing, or don't go by
    it.
    """

    status: int
    one: bytes = IDENTITY
    two: bytes = IDENTITY
    feed_one: int = FIRST
    feed_two: int = SECOND
    gate_one: int = ALL
    gate_two: int = ALL
    remembered: int = ALL
    of_pair: bool = False
    after: Delay = AT_ONCE
    lasts: Delay | None = None
    written: bytes = b""


CodeChange = Callable[[SwitchField, int], int]
"""Given a switch and the code of its state, the code of the state that it turns to."""


class NodeContext(Protocol):
    """Where a node sends things on, turns switches, and asks to be woken."""

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
        """Send a message on behind the node, for what `event` stands for.

        It goes `after` a delay; `copy` names it as a holder of its own. With `ordered`, nothing overtakes there. Delays
        count from when the event's message came, or from now, with `from_now`.
        """
        ...

    @property
    def now(self) -> int:
        """The time of what is being done."""
        ...

    def later(self, base: int, delay: Delay) -> int:
        """The time after a delay."""
        ...

    def wake(self, node: Node, key: object, base: int, delay: Delay) -> int:
        """Ask to be woken a delay after `base`, in the order of what is being done. Returns what `cancel` wants."""
        ...

    def cancel(self, wake: int) -> None:
        """Ask not to be woken any more."""
        ...

    def turn(self, switch: str, change: CodeChange, player: int, *, again: bool = False) -> None:
        """Turn a switch on behalf of a player.

        Where it stays in its state, what that state sends goes out once more, if that is wanted `again`.
        """
        ...

    def order_clock(self, order: ClockOrder) -> None:
        """Ask our clock for something, once all that is being done has been done."""
        ...


class EvaluationContext(NodeContext, Protocol):
    """What a node may do that doesn't wait, while one message is evaluated.

    `trying`: only to see where a message would go; nothing is remembered of it. `known`: a value that came before; it
    fires nothing and makes no notes. `heard`: what makes notes of values, and `send`, were told: True for a value of 64
    and above. `consumed`: a switch kept the message from the rules.
    """

    heard: list[bool]
    trying: bool
    known: bool
    consumed: bool

    def send(self, event: Event, message: bytes, after: Delay = AT_ONCE) -> None:
        """Send on a message that the step wrote itself."""
        ...

    def once(self, name: tuple[object, ...], answer: Callable[[], Any]) -> Any:
        """An answer that changes what is remembered: it is given once for all that becomes of a message."""
        ...


class WaitingContext(NodeContext, Protocol):
    """What a node may do that waits, when it is handed a message or woken."""

    def sounds(self, event: Event) -> bool:
        """Whether anything that was emitted for a note-on still sounds behind the node."""
        ...

    def put_off(self) -> None:
        """Say that a message that came will go out later, for those who count."""
        ...


class Node(ABC):
    """A step with memory, and the table of what follows it.

    The node itself is part of the pipeline and never changes; its memory belongs to the engine, which keeps it under
    the `memory_key` of its step in the rule file, so that a reload finds the memory again. Where one step leads on in
    several ways, as before zones, each way has a node with a `key` of its own; all share one `memory_key`.

    A node that doesn't wait emits while the message is evaluated, at its arrival; later it may only turn switches. One
    that waits is handed each message when it is due, may keep it, and emits it when it likes. Before it stands the
    ledger of the player, so it gets a note-off for each note-on; behind it the engine keeps another ledger, which
    answers what it emits: a note-off that it emits ends what its note-on became.
    """

    leads_on: ClassVar[bool] = True
    """Whether anything follows it at all."""

    keeps_word: ClassVar[bool] = True
    """Whether what follows it sees the switches as what led to it did."""

    acts: ClassVar[bool] = False
    """Whether it must see a message when it comes: it makes notes of values, fires, turns, or learns from it."""

    waits: ClassVar[bool] = False
    """Whether it may keep messages."""

    thins: ClassVar[bool] = False
    """Whether it keeps values, but nothing that is made or fired by them: notes and what a `send` wrote go past it."""

    def __init__(self) -> None:
        self.memory_key: NodeKey = ()
        self.key: NodeKey = ()
        self.after: Table | None = None

    @property
    def main(self) -> Node:
        """The node whose table follows: itself, but for side entrances."""
        return self

    def fresh(self) -> Any:
        """An empty memory."""
        return None

    @abstractmethod
    def take(self, memory: Any, event: Event, status: int, d1: int, d2: int, context: Any) -> None:
        """Take one message (data bytes 0 where it has none), and emit what comes of it.

        `context` is an EvaluationContext for a node that doesn't wait, a WaitingContext for one that does.
        """

    def woken(self, memory: Any, key: Any, context: WaitingContext) -> None:
        """Do what the node asked to be woken for."""
        raise AssertionError("a node that asks to be woken says what it does then")

    def forget(self, memory: Any, player: int, context: WaitingContext) -> None:  # noqa: B027 - optional
        """Forget a player: the source is lost, or, where it waits, after a panic. What sounds is ended already."""

    def silenced(self, memory: Any, context: WaitingContext) -> None:  # noqa: B027 - optional
        """Hear of a panic, if it doesn't wait."""

    def replaced(self, memory: Any, successor: Node | None, context: WaitingContext) -> None:  # noqa: B027 - optional
        """Hear that other rules have come. `successor` is the step in its place, if there is one of its sort."""

    def turned(self, memory: Any, word: int, context: WaitingContext) -> None:  # noqa: B027 - optional
        """Hear that switches have turned, if it waits; `word` is what they are at now."""

    def close(self, memory: Any, context: WaitingContext) -> None:  # noqa: B027 - optional
        """End what it keeps going: the performance is over."""

    def results(self, status: int) -> list[NodeResult]:
        """Return all that becomes of the messages of a status, exactly; for who proves what rules do."""
        return [NodeResult(status)]

    def may_follow(self, status: int, firsts: int, seconds: int) -> list[tuple[int, int, int]]:
        """Return what a status and gates of data bytes can become: the status and gates of each result."""
        return [(status, firsts, seconds)]
