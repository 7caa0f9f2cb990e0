"""What a take holds at a moment: the notes that sound, and what is away from rest."""

from __future__ import annotations

from rules.midi.controllers import EVERY_NOTE_ENDS, RESET_CONTROLLERS
from rules.midi.messages import (
    CONTROLLER,
    NOTE_OFF,
    OFF_VELOCITY,
    SYSEX,
    is_note_off,
    is_note_on,
)
from rules.midi.neutral import OutputPlace, is_at_rest, rest_message, rest_place

SourceMessage = tuple[int, bytes]
"""The number of a source, and a message of it."""


class HeldValues:
    """Takes the messages of a take in their order."""

    def __init__(self) -> None:
        self._notes: dict[tuple[int, int, int], None] = {}
        self._values: dict[OutputPlace, SourceMessage] = {}

    def note(self, source: int, message: bytes) -> None:
        """Take in a message of a source."""
        status = message[0]
        if status >= SYSEX:
            return
        channel = status & 0x0F
        if is_note_on(message):
            self._notes[source, channel, message[1]] = None
        elif is_note_off(message):
            self._notes.pop((source, channel, message[1]), None)
        elif status & 0xF0 == CONTROLLER and message[1] in EVERY_NOTE_ENDS:
            self._notes = {place: None for place in self._notes if place[:2] != (source, channel)}
        elif status & 0xF0 == CONTROLLER and message[1] == RESET_CONTROLLERS:
            self._values = {
                place: value
                for place, value in self._values.items()
                if (value[0], value[1][0] & 0x0F) != (source, channel)
            }
        elif (place := rest_place(source, message)) is not None:
            self._values.pop(place, None)
            if not is_at_rest(message, fully=True):
                self._values[place] = (source, message)

    @property
    def values(self) -> list[SourceMessage]:
        """The messages that brought away from rest what is so now: pedals, bends, pressure, modulation."""
        return list(self._values.values())

    def let_go(self) -> list[SourceMessage]:
        """Return what ends the notes and brings all to rest, as a player lets go; nothing is held after that."""
        ends = [(source, bytes((NOTE_OFF | channel, key, OFF_VELOCITY))) for source, channel, key in self._notes]
        ends += [(source, rest_message(place)) for place, (source, _) in self._values.items()]
        self._notes.clear()
        self._values.clear()
        return ends
