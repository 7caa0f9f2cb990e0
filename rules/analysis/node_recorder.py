"""What a step with a memory makes of one message: its node is asked, and what it sends on is noted."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from itertools import count
from typing import Any

from rules.midi.messages import LENGTH, NOTE_OFF, NOTE_ON, SYSEX
from rules.program.clock_orders import ClockOrder
from rules.program.event import Copy, Event, Family
from rules.program.node import CodeChange
from rules.program.switch_states import Layout
from rules.program.tables import AnyNode
from rules.timing.delays import AT_ONCE, Delay


@dataclass(frozen=True, slots=True)
class Passing:
    """A message on its way, and how late it is."""

    message: bytes
    delay: Delay = AT_ONCE


class NodeRecorder:
    """Notes what a node sends on, as if this were the first message that comes to it.

    Time passes at once: what the node asks to be woken for comes right after, as late as it asked.
    """

    now = 0
    trying = False
    known = False

    def __init__(self, layout: Layout, word: int, one: Passing) -> None:
        self.word = word
        self.heard: list[bool] = []
        self.consumed = False
        self.chosen: str | None = None
        self.made: list[Passing] = []
        self._layout = layout
        self._wakes: dict[int, tuple[object, Delay]] = {}
        self._woken_after: Delay | None = None
        self._numbers = count()
        self._event = Event(0, 0, 0, one.message, 0, Family(word))
        self._event.delay = one.delay
        self._as_note_on = one.message[0] & 0xF0 == NOTE_ON

    def hand(self, node: AnyNode, status: int, d1: int, d2: int) -> None:
        """Hand the message to a node, as the steps before have changed it."""
        memory = node.main.fresh()
        self._event.node = node.main
        node.take(memory, self._event, status, d1, d2, self)
        while self._wakes:
            key, self._woken_after = self._wakes.pop(min(self._wakes))
            self._as_note_on = False  # a note-off that the node makes has the form of its own
            node.main.woken(memory, key, self)
        self._woken_after = None

    def note(self, status: int, d1: int, d2: int, delay: Delay) -> None:
        """Note one message; a note-off keeps its form."""
        if status >= SYSEX:
            message = self._event.message
        elif LENGTH[status] == 2:
            message = bytes((status, d1))
        elif self._as_note_on and status & 0xF0 == NOTE_OFF:
            message = bytes((status | 0x10, d1, 0))
        else:
            message = bytes((status, d1, d2))
        self.made.append(Passing(message, delay))

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
        """Note a message."""
        begin = event.delay if self._woken_after is None else self._woken_after
        self.note(status, d1, d2, begin + after)

    def send(self, event: Event, message: bytes, after: Delay = AT_ONCE) -> None:
        """Note a message that a step wrote itself."""
        self.made.append(Passing(message, event.delay + after))

    def once(self, name: tuple[object, ...], answer: Callable[[], Any]) -> Any:
        """Each is asked for the first time."""
        return answer()

    def turn(self, switch: str, change: CodeChange, player: int, *, again: bool = False) -> None:
        """Turn the switch; what follows sees its new state. That it is `chosen` again in the same state is noted."""
        word = self._layout.changed(self.word, switch, change)
        self.chosen = switch if again and word == self.word else None
        self.word = word

    def order_clock(self, order: ClockOrder) -> None:
        """Do nothing: the node itself says what it asks for."""

    def later(self, base: int, delay: Delay) -> int:
        """Only delays are told, not times."""
        return base

    def wake(self, node: AnyNode, key: object, base: int, delay: Delay) -> int:
        """Note when the node wants to be woken."""
        number = next(self._numbers)
        self._wakes[number] = key, delay
        return number

    def cancel(self, wake: int) -> None:
        """Forget a waking."""
        self._wakes.pop(wake, None)

    def sounds(self, event: Event) -> bool:
        """What a node has begun sounds on until it ends it: in a trace nothing else does."""
        return True

    def put_off(self) -> None:
        """Do nothing: a trace counts nothing."""
