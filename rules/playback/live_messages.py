"""The events of a track as messages that can be sent to a port: sysex in one piece, escapes as what they hold.

Source: Standard MIDI Files 1.0 (RP-001), "sysex event": F0 begins a sysex, F7 goes on with it, or else is an escape
that holds any bytes.
"""

from __future__ import annotations

from collections.abc import Iterator
from typing import Final

from rules.midi.messages import ACTIVE_SENSING, END_OF_SYSEX, LENGTH, SYSEX, message_fault
from rules.smf.track_events import content

_REAL_TIME: Final = 0xF8


class LiveMessages:
    """Takes the events of one track in their order. `faulty` counts what was no message, or is never sent."""

    __slots__ = ("_begun", "faulty")

    def __init__(self) -> None:
        self._begun = b""
        self.faulty = 0

    def of_event(self, event: bytes) -> list[bytes]:
        """Return the complete messages that an event, other than a meta event, sends."""
        status = event[0]
        if status < SYSEX:
            return [event]
        held = content(event)
        if status == SYSEX:
            self._drop_begun()
            return self._whole(event[:1] + held)
        if self._begun and held[:1] < bytes((_REAL_TIME,)):
            return self._whole(self._begun + held)
        return list(self._escaped(held))

    def _drop_begun(self) -> None:
        """Another message begins where a sysex has no end."""
        self.faulty += bool(self._begun)
        self._begun = b""

    def _whole(self, sysex: bytes) -> list[bytes]:
        """Return a sysex that ends here; keep one that doesn't."""
        self._begun = b""
        if sysex[-1] != END_OF_SYSEX:
            self._begun = sysex
            return []
        return self._checked(sysex)

    def _checked(self, message: bytes) -> list[bytes]:
        if message_fault(message) or message[0] == ACTIVE_SENSING:  # whose silence would end the take (ruling 27)
            self.faulty += 1
            return []
        return [message]

    def _escaped(self, held: bytes) -> Iterator[bytes]:
        """Yield the messages of an escape, which may hold several."""
        at = 0
        while at < len(held):
            status = held[at]
            end = held.find(END_OF_SYSEX, at) + 1 or len(held) if status == SYSEX else at + max(1, LENGTH[status])
            yield from self._checked(held[at:end])
            at = end
