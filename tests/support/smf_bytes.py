"""Files built from hex, and the ways a test passes them through the codec."""

from __future__ import annotations

from collections.abc import Sequence

from rules.smf.midi_file import MidiFile, read
from rules.smf.track_events import TrackEvent, TrackEvents
from rules.smf.writing import TrackWriter, write

END = "00 FF 2F 00"

# Standard MIDI Files 1.0 (RP-001, rev. 1996), "Program Fragments and Example MIDI Files": one piece in both formats.
FORMAT_0 = bytes.fromhex(
    "4D546864 00000006 0000 0001 0060  4D54726B 0000003B 00FF580404021808 00FF510307A120 00C005 00C12E 00C246"
    "00923060 003C60 60914340 60904C20 8140823040 003C40 00814340 00804C40 00FF2F00"
)
FORMAT_1 = bytes.fromhex(
    "4D546864 00000006 0001 0004 0060  4D54726B 00000014 00FF580404021808 00FF510307A120 8300FF2F00"
    "4D54726B 00000010 00C005 8140904C20 81404C00 00FF2F00  4D54726B 0000000F 00C12E 60914340 82204300 00FF2F00"
    "4D54726B 00000015 00C246 00923060 003C60 83003000 003C00 00FF2F00"
)


def unhex(text: str) -> bytes:
    """Return the bytes that `text` writes in hex, blanks ignored."""
    return bytes.fromhex(text)


def chunk(kind: bytes, body: bytes, length: int | None = None) -> bytes:
    """Return a chunk; `length` claims another length than its body has."""
    return kind + (len(body) if length is None else length).to_bytes(4) + body


def track(body: str, length: int | None = None) -> bytes:
    """Return a track chunk with its body in hex."""
    return chunk(b"MTrk", unhex(body), length)


def header(count: int, *, midi_format: int = 1, division: int = 96, extra: bytes = b"") -> bytes:
    """Return a header chunk, with `extra` bytes behind its three fields."""
    fields = b"".join(field.to_bytes(2) for field in (midi_format, count, division))
    return chunk(b"MThd", fields + extra)


def one_track(body: str) -> bytes:
    """Return a format 0 file whose only track has its body in hex."""
    return header(1, midi_format=0) + track(body)


def scanned(body: str, *, cut: bool = False, strict: bool = False) -> tuple[list[TrackEvent], TrackEvents]:
    """Return the events of a track with its body in hex, and the reader they came from."""
    events = TrackEvents(unhex(body), cut=cut, strict=strict)
    return list(events), events


def said(body: str) -> list[tuple[int, str]]:
    """Return the events of a track with its body in hex, as (tick, message in hex)."""
    return [(tick, message.hex(" ").upper()) for tick, _, _, _, message in scanned(body)[0]]


def put_all(file: MidiFile) -> bytes:
    """Write the file anew, every event put in place of itself."""
    return write(file, [_rewritten(file, index, keep=False) for index in range(len(file.tracks))])


def keep_all(file: MidiFile) -> bytes:
    """Write the file anew, every event kept."""
    return write(file, [_rewritten(file, index, keep=True) for index in range(len(file.tracks))])


def passed_through(data: bytes) -> Sequence[bytes]:
    """Return what reading and writing makes of a file when nothing changes, in both ways of writing an event."""
    file = read(data)
    return keep_all(file), put_all(file)


def _rewritten(file: MidiFile, index: int, *, keep: bool) -> bytes:
    track = file.tracks[index]
    writer = TrackWriter(file.body(track))
    events = file.events(track)
    for event in events:
        if keep:
            writer.keep(event)
        else:
            writer.put(event[0], event[4], event)
    writer.rest(events.tail)
    return writer.body()
