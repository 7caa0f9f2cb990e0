"""One node by itself: what it sends on is noted, not followed."""

from __future__ import annotations

from collections.abc import Callable
from fractions import Fraction
from typing import Any

from rules.program.clock_orders import ClockOrder
from rules.program.event import Copy, Event, Family
from rules.program.node import CodeChange
from rules.program.switch_states import Layout
from rules.program.tables import AnyNode
from rules.timing.delays import AT_ONCE, NEVER, Delay
from rules.timing.scheduler import Scheduler


def ms(number: int) -> Delay:
    """A delay in milliseconds."""
    return Delay(ms=Fraction(number))


class FakeEngine:
    """Stands for the engine: it keeps memories by key, a scheduler of wakes, and its time is in milliseconds."""

    def __init__(self, layout: Layout | None = None) -> None:
        self.layout = Layout({}) if layout is None else layout
        self.word = self.layout.initial
        self.scheduler: Scheduler[tuple[AnyNode, Any]] = Scheduler()
        self.kept = 0
        self._memories: dict[tuple[str | int, ...], Any] = {}

    def memory(self, node: AnyNode) -> Any:
        """What a node remembers."""
        return self._memories.setdefault(node.main.memory_key, node.main.fresh())

    def woken(self) -> list[tuple[int, list[bytes]]]:
        """Wakes all who asked for it, in order; what they sent on then, by time."""
        found = []
        while self.scheduler.next_due < NEVER:
            due, _, (node, key) = self.scheduler.pop()
            recorder = Recorder(self, now=due)
            node.woken(self.memory(node), key, recorder)
            found.append((due, recorder.made))
        return found


class Recorder:
    """What a node does with one message is noted."""

    def __init__(self, engine: FakeEngine, *, now: int = 0, trying: bool = False, known: bool = False) -> None:
        self.now = now
        self.trying = trying
        self.known = known
        self.heard: list[bool] = []
        self.consumed = False
        self.made: list[bytes] = []
        self.delays: list[Delay] = []
        self.copies: list[Copy] = []
        self.orders: list[bool] = []
        self.asked: list[ClockOrder] = []
        self._engine = engine
        self._family = Family(0)

    def event(self, node: AnyNode, *message: int, in_key: int = 0, player: int = 0) -> Event:
        """A message at a node."""
        event = Event(player, player, in_key, bytes(message), self.now, self._family)
        event.node = node.main
        return event

    def hand(self, node: AnyNode, *message: int, in_key: int = 0, player: int = 0) -> list[bytes]:
        """Hands a message to a node; all that was sent on so far."""
        event = self.event(node, *message, in_key=in_key, player=player)
        node.take(self._engine.memory(node), event, message[0], message[1], message[2] if len(message) > 2 else 0, self)
        return self.made

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
        """Notes one message."""
        self.made.append(bytes((status, d1) if status & 0xE0 == 0xC0 else (status, d1, d2)))
        self.delays.append(after)
        self.copies.append(copy)
        self.orders.append(ordered)

    def send(self, event: Event, message: bytes, after: Delay = AT_ONCE) -> None:
        """Notes one message that the step wrote."""
        self.made.append(message)

    def once(self, name: tuple[object, ...], answer: Callable[[], Any]) -> Any:
        """An answer that is given once."""
        return self._family.once(name, answer)

    def turn(self, switch: str, change: CodeChange, player: int, *, again: bool = False) -> None:
        """A switch is turned, or set again."""
        self._engine.word = self._engine.layout.changed(self._engine.word, switch, change)

    def order_clock(self, order: ClockOrder) -> None:
        """Something is asked of our clock."""
        self.asked.append(order)

    def later(self, base: int, delay: Delay) -> int:
        """Milliseconds are whole, and a beat has 500."""
        return base + int(delay.ms + delay.beats * 500)

    def wake(self, node: AnyNode, key: object, base: int, delay: Delay) -> int:
        """A node asks to be woken."""
        return self._engine.scheduler.add(self.later(base, delay), (node, key))

    def cancel(self, wake: int) -> None:
        """It doesn't any more."""
        self._engine.scheduler.cancel(wake)

    def sounds(self, event: Event) -> bool:
        """Whatever was sent on sounds."""
        return True

    def put_off(self) -> None:
        """A message is kept."""
        self._engine.kept += 1


def taken(
    node: AnyNode, engine: FakeEngine, *message: int, in_key: int = 0, player: int = 0, **settings: Any
) -> list[bytes]:
    """What a node sends on of one message."""
    return Recorder(engine, **settings).hand(node, *message, in_key=in_key, player=player)
