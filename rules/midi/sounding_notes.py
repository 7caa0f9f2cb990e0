"""Which notes sound at the outputs, by the messages that went out there."""

from __future__ import annotations

from collections.abc import Iterable
from typing import Final

from rules.midi.messages import CONTROLLER, NOTE_OFF, NOTE_ON, RESET

SoundingNote = tuple[int, int, int, int]
"""Port by number, channel (0-15), key, and since when (ns) it sounds."""

_SILENCED_BY: Final = frozenset({120, *range(123, 128)})
"""All sound off, all notes off, and the modes that end all notes (MIDI 1.0 Detailed Specification, table III)."""


class SoundingNotes:
    """The notes of all outputs, by number. Struck again it is the same note: one note-off ends it (ruling 10).

    `changes` counts how often the notes have changed.
    """

    def __init__(self) -> None:
        self.changes = 0
        self._since: dict[tuple[int, int, int], int] = {}

    def begin(self, notes: Iterable[SoundingNote]) -> None:
        """Begin anew with notes that sound. Those that are known keep their times."""
        known = self._since
        self._since = {(port, channel, key): since for port, channel, key, since in notes}
        self._since.update((place, known[place]) for place in self._since.keys() & known.keys())
        self.changes += 1

    def hear(self, port: int, message: bytes, now: int) -> None:
        """Take in a message that went out at a time (ns)."""
        kind, channel = message[0] & 0xF0, message[0] & 0x0F
        if kind == NOTE_ON and message[2]:
            place = (port, channel, message[1])
            if place not in self._since:
                self._since[place] = now
                self.changes += 1
        elif kind in (NOTE_OFF, NOTE_ON):
            if self._since.pop((port, channel, message[1]), None) is not None:
                self.changes += 1
        elif (kind == CONTROLLER and message[1] in _SILENCED_BY) or message[0] == RESET:
            self._silence(port, None if message[0] == RESET else channel)

    def _silence(self, port: int, channel: int | None) -> None:
        ended = [place for place in self._since if place[0] == port and channel in (None, place[1])]
        for place in ended:
            del self._since[place]
        self.changes += len(ended)

    @property
    def notes(self) -> list[SoundingNote]:
        """What sounds, the longest first."""
        return [(*place, since) for place, since in self._since.items()]
