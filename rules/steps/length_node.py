"""The node of `length`: every note ends a fixed time after it began (ruling 22)."""

from __future__ import annotations

from typing import ClassVar

from rules.midi.messages import NOTE_OFF, OFF_VELOCITY
from rules.program.byte_tables import ALL
from rules.program.event import Copy, Event
from rules.program.node import Node, NodeResult, WaitingContext
from rules.timing.delays import Delay

NoteKey = tuple[int, int, int, Copy, int, int]
"""A note: which way on from the step, player, in-key, echo copy, outgoing channel 0-15 and key."""

Memory = dict[NoteKey, tuple[Event, int]]
"""The note-ons that sound, and the wakes that will end them."""


class LengthNode(Node):
    """Knows how long a note is; remembers those that it will end."""

    waits: ClassVar[bool] = True

    def __init__(self, length: Delay) -> None:
        super().__init__()
        self.length = length

    def fresh(self) -> Memory:
        """Nothing sounds."""
        return {}

    def results(self, status: int) -> list[NodeResult]:
        """Return the note, with its length; nothing of a note-off."""
        return [] if status & 0xF0 == NOTE_OFF else [NodeResult(status, lasts=self.length)]

    def may_follow(self, status: int, firsts: int, seconds: int) -> list[tuple[int, int, int]]:
        """Return what came; the note-offs that it makes have a release velocity of their own."""
        return [(status, firsts, ALL if status & 0xF0 == NOTE_OFF else seconds)]

    def take(self, memory: Memory, event: Event, status: int, d1: int, d2: int, context: WaitingContext) -> None:
        """Begin a note, after ending the same note before it. Its note-off is ignored."""
        if status & 0xF0 == NOTE_OFF:
            return
        name = (event.target, event.player, event.in_key, event.copy, status & 0x0F, d1)
        if name in memory:
            self._end(memory, name, context)
        context.emit(event, status, d1, d2)
        # from where its delays count, so that nothing is rounded twice; but from now, if it was held for others
        base, delay = (context.now, self.length) if event.wait else (event.base, event.lasting + self.length)
        memory[name] = event, context.wake(self, name, base, delay)

    def woken(self, memory: Memory, key: NoteKey, context: WaitingContext) -> None:
        """End a note whose time is over."""
        self._emit_off(*memory.pop(key), context)

    def forget(self, memory: Memory, player: int, context: WaitingContext) -> None:
        """Forget the notes of a player, which are ended already."""
        for name in [name for name in memory if name[1] == player]:
            _, wake = memory.pop(name)
            context.cancel(wake)

    def replaced(self, memory: Memory, successor: Node | None, context: WaitingContext) -> None:
        """Keep notes if the step is still there, as it was; else end them."""
        if not isinstance(successor, LengthNode) or successor.length != self.length:
            self.close(memory, context)

    def close(self, memory: Memory, context: WaitingContext) -> None:
        """End every note."""
        for name in list(memory):
            self._end(memory, name, context)

    def _end(self, memory: Memory, name: NoteKey, context: WaitingContext) -> None:
        event, wake = memory.pop(name)
        context.cancel(wake)
        self._emit_off(event, wake, context)

    def _emit_off(self, event: Event, wake: int, context: WaitingContext) -> None:
        context.emit(event, NOTE_OFF | event.channel, event.key, OFF_VELOCITY, from_now=True)
