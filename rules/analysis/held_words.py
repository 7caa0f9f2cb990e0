"""What is held, in words: a note, a pedal or another value away from rest."""

from __future__ import annotations

from rules.midi.messages import CONTROLLER, KEY_PRESSURE, NOTE_ON, PITCH_BEND
from rules.midi.notation import Naming, format_controller, format_note


def held_words(status: int, number: int, naming: Naming) -> str:
    """Return what a message of a status and first data byte (0-127) holds: `note C4`, `sustain`, `pitch bend`."""
    kind = status & 0xF0
    if kind == NOTE_ON:
        return f"note {format_note(number, naming)}"
    if kind == KEY_PRESSURE:
        return f"key pressure of {format_note(number, naming)}"
    if kind == CONTROLLER:
        return format_controller(number)
    return "pitch bend" if kind == PITCH_BEND else "channel pressure"
