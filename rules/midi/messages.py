"""MIDI 1.0 facts: status bytes, lengths, kinds of message.

Source of every number here: MIDI 1.0 Detailed Specification 4.2.1, tables 1-8. Channels are 1-16 for people and
0-15 (the low nibble of the status byte) in the code that works on bytes.
"""

from __future__ import annotations

from types import MappingProxyType
from typing import Final

NOTE_OFF: Final = 0x80
NOTE_ON: Final = 0x90
KEY_PRESSURE: Final = 0xA0
CONTROLLER: Final = 0xB0
PROGRAM: Final = 0xC0
CHANNEL_PRESSURE: Final = 0xD0
PITCH_BEND: Final = 0xE0
SYSEX: Final = 0xF0
MTC: Final = 0xF1
SONG_POSITION: Final = 0xF2
SONG_SELECT: Final = 0xF3
TUNE_REQUEST: Final = 0xF6
END_OF_SYSEX: Final = 0xF7
CLOCK: Final = 0xF8
START: Final = 0xFA
CONTINUE: Final = 0xFB
STOP: Final = 0xFC
ACTIVE_SENSING: Final = 0xFE
RESET: Final = 0xFF

STATUS_OF_KIND: Final = MappingProxyType(
    {
        "note-off": NOTE_OFF,
        "note-on": NOTE_ON,
        "key-pressure": KEY_PRESSURE,
        "controller": CONTROLLER,
        "program": PROGRAM,
        "channel-pressure": CHANNEL_PRESSURE,
        "pitch-bend": PITCH_BEND,
        "sysex": SYSEX,
        "mtc": MTC,
        "song-position": SONG_POSITION,
        "song-select": SONG_SELECT,
        "tune-request": TUNE_REQUEST,
        "clock": CLOCK,
        "start": START,
        "continue": CONTINUE,
        "stop": STOP,
        "active-sensing": ACTIVE_SENSING,
        "reset": RESET,
    }
)
"""The written name of each kind of message; channel kinds have channel 1's status."""

KIND_OF_STATUS: Final = MappingProxyType({status: kind for kind, status in STATUS_OF_KIND.items()})

CHANNEL_STATUSES: Final = range(0x80, 0xF0)

TRANSPORT: Final = frozenset({MTC, SONG_POSITION, SONG_SELECT, TUNE_REQUEST, CLOCK, START, CONTINUE, STOP})
"""What goes from a clock source to outputs by port, not by rule (ruling 26)."""

ESCAPED_TRANSPORT: Final = TRANSPORT | {0xF9, 0xFD, ACTIVE_SENSING}
"""What an escape of a file holds that goes with the clock and transport: F1-F3, F6, F8-FE (ruling 34)."""

UNDEFINED: Final = frozenset({0xF4, 0xF5, 0xF9, 0xFD})
"""Never sent; ignored on receipt (MIDI 1.0 p.6, A-2)."""


def _length(status: int) -> int:
    if status < NOTE_OFF or status in UNDEFINED:
        return 0
    if status < SYSEX:
        return 2 if status & 0xE0 == 0xC0 else 3
    return {SYSEX: 0, MTC: 2, SONG_POSITION: 3, SONG_SELECT: 2}.get(status, 1)


LENGTH: Final = tuple(_length(status) for status in range(256))
"""Bytes in a message, status included; 0 for data bytes, undefined statuses and sysex (any length)."""

OFF_VELOCITY: Final = 64
"""Release velocity where there is no sensing (MIDI 1.0 p.10); used for the note-offs that we make."""

BEND_CENTRE: Final = 8192


def message_fault(message: bytes) -> str:
    """Return what keeps `message` from being one complete MIDI 1.0 message, in words; empty when nothing does."""
    if not message:
        return "a message has at least one byte"
    status = message[0]
    if len(message) == LENGTH[status] and message[1:].isascii() and status != END_OF_SYSEX:
        return ""  # as nearly all
    if status == SYSEX:
        if len(message) < 2 or message[-1] != END_OF_SYSEX:
            return "a sysex message ends with F7"
        if not message[1:-1].isascii():
            return "between F0 and F7 every byte is 00-7F"
        return ""
    if status in UNDEFINED or status == END_OF_SYSEX or status < NOTE_OFF:
        return f"{status:02X} can't begin a message"
    if len(message) != LENGTH[status]:
        length = LENGTH[status]
        return f"a message with status {status:02X} has {length} byte{'s' if length > 1 else ''}, not {len(message)}"
    return "data bytes are 00-7F"


def split_message(message: bytes) -> tuple[int, int, int]:
    """Status and two data bytes, 0 for those that a message lacks; a note-on of velocity 0 as the note-off it is.

    System messages are known by their status alone: their data bytes come as 0.
    """
    status = message[0]
    if status >= SYSEX:
        return status, 0, 0
    second = message[2] if len(message) > 2 else 0
    if status & 0xF0 == NOTE_ON and second == 0:
        status &= 0x8F
    return status, message[1], second


def is_note_on(message: bytes) -> bool:
    """Return whether a message begins a note."""
    return message[0] & 0xF0 == NOTE_ON and message[2] > 0


def is_note_off(message: bytes) -> bool:
    """Return whether a message ends a note, in either form."""
    kind = message[0] & 0xF0
    return kind == NOTE_OFF or (kind == NOTE_ON and message[2] == 0)


def routed_status(message: bytes) -> int:
    """The status that a system message is routed by: an escape or packet (F7) goes as what it holds, else as sysex."""
    if message[0] != END_OF_SYSEX:
        return message[0]
    return message[1] if len(message) > 1 and message[1] in ESCAPED_TRANSPORT else SYSEX
