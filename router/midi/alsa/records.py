"""The sequencer's records: MIDI messages as the kernel hands them from program to program.

A record has 28 bytes: kind, flags, where from and where to, and 12 bytes of data. Behind the record of a sysex, or of a
part of one, come its bytes; when the kernel hands them over it fills them up to whole records. Numbers and layout are
those of Linux, include/uapi/sound/asequencer.h, and the meaning of the data is that of sound/core/seq/seq_midi_event.c.
"""

from __future__ import annotations

import struct
from collections.abc import Callable, Iterator, Sequence
from functools import partial
from typing import Final, NamedTuple

from rules.midi.messages import (
    ACTIVE_SENSING,
    CHANNEL_PRESSURE,
    CLOCK,
    CONTINUE,
    CONTROLLER,
    END_OF_SYSEX,
    KEY_PRESSURE,
    MTC,
    NOTE_OFF,
    NOTE_ON,
    PITCH_BEND,
    PROGRAM,
    RESET,
    SONG_POSITION,
    SONG_SELECT,
    START,
    STOP,
    SYSEX,
    TUNE_REQUEST,
)

Address = tuple[int, int]
"""A client's number, and its port's."""

LENGTH: Final = 28
"""Bytes of a record."""

_RECORD: Final = struct.Struct("=BBBB8xBBBBBBBBIi")
"""Kind, flags, tag, queue; source, destination; then the data of a channel message: three bytes and a fourth, that of a
controller: channel, three unused, number, value."""

_VARIABLE: Final = 1 << 2
_LENGTH_MASK: Final = 3 << 2
_DIRECT: Final = 253
_SUBSCRIBERS: Final = (254, 253)
_BEND_REST: Final = 8_192

_NOTE_ON: Final = 6
_NOTE_OFF: Final = 7
_KEY_PRESSURE: Final = 8
_CONTROLLER: Final = 10
_PROGRAM: Final = 11
_CHANNEL_PRESSURE: Final = 12
_PITCH_BEND: Final = 13
_FINE_CONTROLLER: Final = 14
_NRPN: Final = 15
_RPN: Final = 16
_SONG_POSITION: Final = 20
_SONG_SELECT: Final = 21
_MTC: Final = 22
_SYSEX: Final = 130

CLIENT_START: Final = 60
PORT_CHANGE: Final = 65
SUBSCRIBED: Final = 66
UNSUBSCRIBED: Final = 67
"""What the system announces: clients and ports that come, go or change (60 to 65), and connections (66, 67)."""

_SINGLE: Final = {30: START, 31: CONTINUE, 32: STOP, 36: CLOCK, 40: TUNE_REQUEST, 41: RESET, 42: ACTIVE_SENSING}
"""Kinds that have no data, with their status byte."""


class Announcement(NamedTuple):
    """Something that the system announces, of one port or between two: `first` sends to `second`."""

    kind: int
    first: Address
    second: Address


class Arrival(NamedTuple):
    """What arrived at a port of ours from another: messages, or with `is_sysex` one sysex or a part of one."""

    port: int
    source: Address
    messages: tuple[bytes, ...]
    is_sysex: bool


# -- what the kernel hands over ---------------------------------------------------------------------------------------


def unpacked(records: bytes | memoryview) -> Iterator[Arrival | Announcement]:
    """Return what some whole records mean. Those that mean nothing to MIDI are left out; a cut one ends it."""
    at, end = 0, len(records)
    while at + LENGTH <= end:
        kind, flags, _, _, client, port, _, own, b0, b1, b2, b3, number, value = _RECORD.unpack_from(records, at)
        at += LENGTH
        if flags & _LENGTH_MASK == _VARIABLE:
            length = b0 | b1 << 8 | b2 << 16 | b3 << 24
            if kind == _SYSEX and 0 < length <= end - at:
                yield Arrival(own, (client, port), (bytes(records[at : at + length]),), True)
            at += -(-length // LENGTH) * LENGTH
        elif CLIENT_START <= kind <= UNSUBSCRIBED:
            yield Announcement(kind, (b0, b1), (b2, b3))
        elif (read := _READ.get(kind)) is not None:
            yield Arrival(own, (client, port), read(b0 & 0x0F, b1, b2, number, value), False)


Read = Callable[[int, int, int, int, int], tuple[bytes, ...]]
"""Gets the channel, the two bytes behind it, and number and value of a controller."""


def _note(status: int) -> Read:
    return lambda channel, key, velocity, number, value: (bytes((status | channel, key & 0x7F, velocity & 0x7F)),)


def _with_value(status: int) -> Read:
    return lambda channel, key, velocity, number, value: (bytes((status | channel, value & 0x7F)),)


def _single(status: int) -> Read:
    message = (bytes((status,)),)
    return lambda channel, key, velocity, number, value: message


def _system(status: int) -> Read:
    return lambda channel, key, velocity, number, value: (bytes((status, value & 0x7F)),)


def _controller(channel: int, key: int, velocity: int, number: int, value: int) -> tuple[bytes, ...]:
    return (bytes((CONTROLLER | channel, number & 0x7F, value & 0x7F)),)


def _bend(channel: int, key: int, velocity: int, number: int, value: int) -> tuple[bytes, ...]:
    return (bytes((PITCH_BEND | channel, *_low_and_high(value + _BEND_REST))),)


def _song_position(channel: int, key: int, velocity: int, number: int, value: int) -> tuple[bytes, ...]:
    return (bytes((SONG_POSITION, *_low_and_high(value))),)


def _fine_controller(channel: int, key: int, velocity: int, number: int, value: int) -> tuple[bytes, ...]:
    """Of the first 32 controllers both bytes, of others the low one."""
    status, number, (low, high) = CONTROLLER | channel, number & 0x7F, _low_and_high(value)
    if number >= 32:
        return (bytes((status, number, low)),)
    return bytes((status, number, high)), bytes((status, number + 32, low))


def _parameter(number_high: int) -> Read:
    """An RPN or NRPN and its value, spelled out as four controllers, the high bytes first."""

    def read(channel: int, key: int, velocity: int, number: int, value: int) -> tuple[bytes, ...]:
        (low, high), (value_low, value_high) = _low_and_high(number), _low_and_high(value)
        pairs = ((number_high, high), (number_high - 1, low), (6, value_high), (38, value_low))
        return tuple(bytes((CONTROLLER | channel, *pair)) for pair in pairs)

    return read


def _low_and_high(value: int) -> tuple[int, int]:
    return value & 0x7F, value >> 7 & 0x7F


_READ: Final[dict[int, Read]] = {
    _NOTE_ON: _note(NOTE_ON),
    _NOTE_OFF: _note(NOTE_OFF),
    _KEY_PRESSURE: _note(KEY_PRESSURE),
    _CONTROLLER: _controller,
    _PROGRAM: _with_value(PROGRAM),
    _CHANNEL_PRESSURE: _with_value(CHANNEL_PRESSURE),
    _PITCH_BEND: _bend,
    _FINE_CONTROLLER: _fine_controller,
    _NRPN: _parameter(99),
    _RPN: _parameter(101),
    _SONG_POSITION: _song_position,
    _SONG_SELECT: _system(SONG_SELECT),
    _MTC: _system(MTC),
    **{kind: _single(status) for kind, status in _SINGLE.items()},
}


# -- what we hand over ------------------------------------------------------------------------------------------------


def packed(message: Sequence[int], port: int) -> bytes:
    """Return the record of a message, or of a part of a sysex, from a port of ours to all that listen to it.

    Raises ValueError for what is no message.
    """
    status = message[0]
    if status < 0x80 or status in (SYSEX, END_OF_SYSEX):
        return _pack(_SYSEX, port, _VARIABLE, *struct.pack("=I", len(message))) + bytes(message)
    length, write = _WRITE.get(status if status > SYSEX else status & 0xF0, (0, None))
    if write is None or len(message) != length:
        raise ValueError(f"no MIDI message: {bytes(message[:3]).hex(' ').upper()}")
    return write(port, status & 0x0F, message[1] if length > 1 else 0, message[2] if length > 2 else 0)


def _pack(
    kind: int,
    port: int,
    flags: int = 0,
    b0: int = 0,
    b1: int = 0,
    b2: int = 0,
    b3: int = 0,
    number: int = 0,
    value: int = 0,
) -> bytes:
    """The kernel fills in who we are."""
    return _RECORD.pack(kind, flags, 0, _DIRECT, 0, port, *_SUBSCRIBERS, b0, b1, b2, b3, number, value)


Write = Callable[[int, int, int, int], bytes]
"""Gets our port, the channel, and the two bytes behind the status; 0 for what a message doesn't have."""


def _write_note(kind: int) -> Write:
    # What `_pack` does, in one call: of these there are most.
    pack = partial(_RECORD.pack, kind, 0, 0, _DIRECT, 0)
    return lambda port, channel, key, velocity: pack(port, *_SUBSCRIBERS, channel, key, velocity, 0, 0, 0)


def _write_value(kind: int) -> Write:
    return lambda port, channel, value, _: _pack(kind, port, 0, channel, value=value)


def _write_controller(port: int, channel: int, number: int, value: int) -> bytes:
    return _pack(_CONTROLLER, port, 0, channel, number=number, value=value)


def _write_bend(port: int, channel: int, low: int, high: int) -> bytes:
    return _pack(_PITCH_BEND, port, 0, channel, value=(low | high << 7) - _BEND_REST)


def _write_song_position(port: int, channel: int, low: int, high: int) -> bytes:
    return _pack(_SONG_POSITION, port, value=low | high << 7)


def _write_system(kind: int) -> Write:
    return lambda port, channel, value, _: _pack(kind, port, value=value)


_WRITE: Final[dict[int, tuple[int, Write]]] = {
    NOTE_OFF: (3, _write_note(_NOTE_OFF)),
    NOTE_ON: (3, _write_note(_NOTE_ON)),
    KEY_PRESSURE: (3, _write_note(_KEY_PRESSURE)),
    CONTROLLER: (3, _write_controller),
    PROGRAM: (2, _write_value(_PROGRAM)),
    CHANNEL_PRESSURE: (2, _write_value(_CHANNEL_PRESSURE)),
    PITCH_BEND: (3, _write_bend),
    MTC: (2, _write_system(_MTC)),
    SONG_POSITION: (3, _write_song_position),
    SONG_SELECT: (2, _write_system(_SONG_SELECT)),
    **{status: (1, _write_system(kind)) for kind, status in _SINGLE.items()},
}
"""How long messages are, by status byte, and what makes a record of one."""
