"""For which incoming messages two forms make the same of them."""

from __future__ import annotations

from functools import lru_cache

from rules.midi.messages import LENGTH, SYSEX
from rules.program.byte_tables import ALL, FIRST
from rules.program.forms import Form

Rectangle = tuple[int, int]
"""The gates of first and second data bytes."""


def same_bytes(form: Form, other: Form) -> list[Rectangle]:
    """Return the incoming data bytes for which two forms make the same message, as rectangles that lie apart.

    Gates and guards aren't looked at, only what the messages become.
    """
    if form.status != other.status:
        return []
    if form.status >= SYSEX:
        return [(ALL, ALL)]
    firsts = _same(form.one, form.feed_one, other.one, other.feed_one)
    if LENGTH[form.status] == 2:
        return list(firsts)
    seconds = _same(form.two, form.feed_two, other.two, other.feed_two)
    shared = [(one & other_one, two & other_two) for one, two in firsts for other_one, other_two in seconds]
    return [rectangle for rectangle in shared if all(rectangle)]


@lru_cache(maxsize=4096)
def _same(table: bytes, feed: int, other: bytes, other_feed: int) -> tuple[Rectangle, ...]:
    """For which incoming data bytes two tables give the same byte; each is fed by the first byte or the second."""
    if feed == other_feed:
        gate = sum(1 << byte for byte in range(128) if table[byte] == other[byte])
        return ((gate, ALL) if feed == FIRST else (ALL, gate),) if gate else ()
    if feed != FIRST:
        table, other = other, table
    found = []
    for value in range(128):
        firsts = sum(1 << byte for byte in range(128) if table[byte] == value)
        seconds = sum(1 << byte for byte in range(128) if other[byte] == value)
        if firsts and seconds:
            found.append((firsts, seconds))
    return tuple(found)
