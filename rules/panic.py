"""What a panic sends to an output (ruling 17)."""

from __future__ import annotations

from collections.abc import Iterator

from rules.messages import (
    ALL_NOTES_OFF,
    ALL_SOUND_OFF,
    CONTROLLER,
    HOLD_2,
    NOTE_OFF,
    OFF_VELOCITY,
    PITCH_BEND,
    SOSTENUTO,
    SUSTAIN,
)
from rules.rest import rest_message


def panic_messages(channel: int, every_key: bool = False) -> list[bytes]:
    """What silences one channel (0-15). With `every_key`, note-offs for instruments that ignore all notes off."""
    keys = [bytes((NOTE_OFF | channel, key, OFF_VELOCITY)) for key in range(128)] if every_key else []
    pedals = [bytes((CONTROLLER | channel, pedal, 0)) for pedal in (SUSTAIN, SOSTENUTO, HOLD_2)]
    ends = [bytes((CONTROLLER | channel, number, 0)) for number in (ALL_NOTES_OFF, ALL_SOUND_OFF)]
    return [*keys, *pedals, *ends, rest_message((0, PITCH_BEND | channel, 0))]


def silence_messages(every_key: bool = False) -> Iterator[bytes]:
    """What silences a whole output: all its channels, since nobody knows what an instrument was left with."""
    for channel in range(16):
        yield from panic_messages(channel, every_key)
