"""Neutral values: what is held away from rest (ruling 13), and what a panic sends to an output (ruling 17)."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Final

from rules.midi.controllers import (
    ALL_NOTES_OFF,
    ALL_SOUND_OFF,
    HOLD_2,
    MODULATION,
    PEDALS,
    SOSTENUTO,
    SUSTAIN,
    SWITCH_ON,
)
from rules.midi.messages import (
    BEND_CENTRE,
    CHANNEL_PRESSURE,
    CONTROLLER,
    KEY_PRESSURE,
    NOTE_OFF,
    OFF_VELOCITY,
    PITCH_BEND,
    is_note_off,
)

OutputPlace = tuple[int, int, int]
"""A place at an output: port, status (channel included), and key or controller (0 where there is none)."""

HELD_CONTROLLERS: Final = PEDALS | {MODULATION}


def rest_place(target: int, message: bytes) -> OutputPlace | None:
    """Return where a message is held until it comes to rest; None for what isn't held (ruling 13)."""
    status = message[0]
    kind = status & 0xF0
    if kind == CONTROLLER:
        return (target, status, message[1]) if message[1] in HELD_CONTROLLERS else None
    if kind == KEY_PRESSURE:
        return target, status, message[1]
    return (target, status, 0) if kind in (CHANNEL_PRESSURE, PITCH_BEND) else None


def is_at_rest(message: bytes, *, fully: bool) -> bool:
    """Return whether a message is at rest: bends in the middle, all else 0; unless `fully`, pedals below 64 as well."""
    kind = message[0] & 0xF0
    if kind == PITCH_BEND:
        return message[2] << 7 | message[1] == BEND_CENTRE
    if kind == CHANNEL_PRESSURE:
        return message[1] == 0
    if kind == CONTROLLER and message[1] in PEDALS and not fully:
        return message[2] < SWITCH_ON
    return message[2] == 0


def ends_held(message: bytes) -> bool:
    """Return whether a channel message ends a note or brings a held value to rest, pedals fully."""
    if rest_place(0, message) is not None:
        return is_at_rest(message, fully=True)
    return message[0] < KEY_PRESSURE and is_note_off(message)


def rest_message(place: OutputPlace) -> bytes:
    """Return the message that brings a place to rest."""
    _, status, number = place
    kind = status & 0xF0
    if kind == PITCH_BEND:
        return bytes((status, BEND_CENTRE & 0x7F, BEND_CENTRE >> 7))
    return bytes((status, 0)) if kind == CHANNEL_PRESSURE else bytes((status, number, 0))


def panic_messages(channel: int, every_key: bool = False) -> list[bytes]:
    """Return what silences a channel (0-15), with `every_key` also a note-off for each key."""
    keys = [bytes((NOTE_OFF | channel, key, OFF_VELOCITY)) for key in range(128)] if every_key else []
    pedals = [bytes((CONTROLLER | channel, pedal, 0)) for pedal in (SUSTAIN, SOSTENUTO, HOLD_2)]
    ends = [bytes((CONTROLLER | channel, number, 0)) for number in (ALL_NOTES_OFF, ALL_SOUND_OFF)]
    return [*keys, *pedals, *ends, rest_message((0, PITCH_BEND | channel, 0))]


def silence_messages(every_key: bool = False) -> Iterator[bytes]:
    """Yield what silences all channels of an output, since the state of its instruments is unknown."""
    for channel in range(16):
        yield from panic_messages(channel, every_key)
