"""Small .mid files for playing, written as (tick, message) in 96 ticks a quarter note at 120 BPM unless said."""

from __future__ import annotations

from collections.abc import Iterable, Sequence

from rules.smf.midi_file import MidiFile, read
from rules.smf.vlq import encode
from rules.smf.writing import stored

ON, OFF = b"\x90\x3c\x64", b"\x80\x3c\x40"
BAR = 384
"""Ticks."""
BAR_NS = 2_000_000_000


def track_of(events: Iterable[tuple[int, bytes]], end: int, name: str = "") -> bytes:
    """A track chunk; messages that begin with FF are meta events, those with F7 escapes."""
    body, last = bytearray(), 0
    named = [(0, b"\xff\x03" + encode(len(name.encode())) + name.encode())] if name else []
    for tick, message in (*named, *events, (end, b"\xff\x2f\x00")):
        body += encode(tick - last) + (message if message[0] == 0xFF else stored(message))
        last = tick
    return b"MTrk" + len(body).to_bytes(4) + bytes(body)


def file_bytes(*tracks: bytes, division: int = 96) -> bytes:
    """A file of these tracks, as bytes."""
    head = b"MThd" + (6).to_bytes(4) + (1).to_bytes(2) + len(tracks).to_bytes(2) + division.to_bytes(2)
    return head + b"".join(tracks)


def take_of(*tracks: Sequence[tuple[int, bytes]], end: int = BAR, division: int = 96) -> MidiFile:
    """A file whose tracks hold events, all with the same end."""
    return read(file_bytes(*(track_of(events, end) for events in tracks), division=division))
