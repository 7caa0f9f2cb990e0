"""Names of output notes and of those who hold them, as numbers, which are found faster than tuples.

A note's place is port << 11 | channel << 7 | key. Its holder is source << 14 | in-key, or, for an echo copy, the tuple
(source, in-key, copy).
"""

from __future__ import annotations

Copy = tuple[str | int, ...]
"""Which echo copy: the places of the echoes and the numbers of their copies on its way; empty for the note itself."""

Holder = int | tuple[int, int, Copy]


def note_place(target: int, channel: int, key: int) -> int:
    """The name of an output note: port, channel 0-15, key."""
    return target << 11 | (channel & 0x0F) << 7 | key


def channel_of(place: int) -> tuple[int, int]:
    """The port and channel 0-15 of an output note."""
    return place >> 11, place >> 7 & 0x0F


def holder_of(source: int, in_key: int, copy: Copy) -> Holder:
    """The name of a holder."""
    return (source, in_key, copy) if copy else source << 14 | in_key


def hand_of(holder: Holder) -> tuple[int, int]:
    """The source and incoming channel 0-15 of a holder."""
    source, in_key = (holder >> 14, holder & 0x3FFF) if isinstance(holder, int) else holder[:2]
    return source, in_key >> 7 & 0x0F
