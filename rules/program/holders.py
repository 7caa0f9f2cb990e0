"""Names of output notes and of those who hold them, as numbers, which are found faster than tuples.

A note's place is port << 11 | channel << 7 | key. Its holder is hand << 14 | in-key, or, for an echo copy, the tuple
(hand, in-key, copy). A hand is a source as the outputs know it: rules that are replaced may renumber their sources,
but the hand that has pressed a key must still be the same when the key is let go.
"""

from __future__ import annotations

from typing import Any, Final

from rules.midi.messages import NOTE_ON, PROGRAM, SYSEX

Copy = tuple[str | int, ...]
"""Which echo copy: the places of the echoes and the numbers of their copies on its way; empty for the note itself."""

Holder = int | tuple[int, int, Copy]

OutputChannel = tuple[int, int]
"""An output port by number, and a channel 0-15 of it."""


_SYSTEM: Final = (SYSEX & 0x7F) << 7
"""The first in-key of system messages."""

IN_KEYS: Final[tuple[Any, ...]] = tuple(range(0x4000))
"""Every in-key as an object, for dictionaries that are asked at every message: compiled code need not make one."""


def in_key_of(status: int, d1: int) -> int:
    """The name of an incoming note, controller or channel-wide kind: status and first data byte where that names it.

    It is the place of the message's cell in a flat table (status - 80, times 128, plus first byte). Note-offs have the
    name of their note-on.
    """
    if status < NOTE_ON:
        status |= 0x10
    return (status & 0x7F) << 7 | (d1 if status < PROGRAM else 0)


def in_channel_of(in_key: int) -> int:
    """The incoming channel 0-15 of a name. What clock and transport send counts as channel 1's, where it goes unless
    told otherwise."""
    return in_key >> 7 & 0x0F if in_key < _SYSTEM else 0


def note_place(target: int, channel: int, key: int) -> int:
    """The name of an output note: port, channel 0-15, key."""
    return target << 11 | (channel & 0x0F) << 7 | key


def output_channel_of(place: int) -> OutputChannel:
    """The port and channel 0-15 of an output note."""
    return place >> 11, place >> 7 & 0x0F


def holder_of(hand: int, in_key: int, copy: Copy) -> Holder:
    """The name of a holder."""
    return (hand, in_key, copy) if copy else hand << 14 | in_key


def channel_holder_of(holder: Holder) -> tuple[int, int]:
    """The hand and incoming channel 0-15 of a holder."""
    hand, in_key = (holder >> 14, holder & 0x3FFF) if isinstance(holder, int) else holder[:2]
    return hand, in_channel_of(in_key)
