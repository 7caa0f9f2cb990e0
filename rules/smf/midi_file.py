"""A Standard MIDI File as it lies in its bytes: the header's facts and where each track is.

Nothing is copied or taken apart: what is no track (header bytes beyond the sixth, unknown chunks, stray bytes, a RIFF
wrapper, whatever follows the last chunk) stays in `data`, and the writer copies it from there. Damage that leaves no
doubt about the music is noted and read around; a strict reading refuses the file instead.

Source: Standard MIDI Files 1.0 (RP-001), "Chunks", "Header Chunks", "Formats".
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

from rules.errors import MidiFileError
from rules.smf import riff
from rules.smf.chunks import Track, find_tracks
from rules.smf.damage import Damage, DamageLog, counted
from rules.smf.riff import RiffWrapper
from rules.smf.track_events import TrackEvents

SMPTE_RATES: Final = (24, 25, 29, 30)
"""Frames a second that a division may name; 29 stands for 30 drop frame."""


@dataclass(frozen=True, slots=True)
class MidiFile:
    """A file that can be read: `data` is all of it, `begin` to `finish` the MIDI file proper inside a wrapper if any.

    `format` and `track_count` are what the header claims, `division` its raw 16 bits; `tracks` are the tracks that are
    there, in order, and `problems` what is damaged in the chunks (damage inside a track is found by its events).
    """

    data: bytes
    begin: int
    finish: int
    format: int
    track_count: int
    division: int
    tracks: tuple[Track, ...]
    problems: tuple[Damage, ...]
    wrapper: RiffWrapper | None
    strict: bool

    def body(self, track: Track) -> bytes:
        """Return the bytes of `track`, without its chunk header."""
        return self.data[track.body : track.end]

    def events(self, track: Track) -> TrackEvents:
        """Return the events of `track` for one pass, as strict as the file was read."""
        return TrackEvents(self.body(track), track.body, cut=track.cut, strict=self.strict)


def read(data: bytes, *, strict: bool = False) -> MidiFile:
    """Find header and tracks in the bytes of a .mid file.

    Raises MidiFileError with the byte at fault for what is no MIDI file, has no track or a division of 0, and in a
    `strict` reading for any damage to the chunks.
    """
    log = DamageLog(strict)
    wrapped = riff.find(data, log)
    begin, finish = (wrapped.begin, wrapped.finish) if wrapped else (0, len(data))
    _require_header(data, begin, finish)
    fields = begin + 8
    midi_format, track_count, division = (int.from_bytes(data[at : at + 2]) for at in range(fields, fields + 6, 2))
    _judge_division(division, fields + 4, log)
    if midi_format > 2:
        log.note(fields, f"format {midi_format} is unknown (0, 1 and 2 are defined); it is treated like format 1")
    tracks = find_tracks(data, begin, finish, log)
    if not tracks:
        raise MidiFileError(min(finish, fields + 6), "no track follows the header; the file has no music")
    if len(tracks) != track_count:
        log.note(fields + 2, f"the header claims {counted(track_count, 'track')}, the file has {len(tracks)}")
    elif midi_format == 0 and track_count > 1:
        log.note(fields + 2, f"format 0 has one track, this file has {track_count}; they are read like format 1")
    return MidiFile(data, begin, finish, midi_format, track_count, division, tracks, tuple(log.found), wrapped, strict)


def damage(file: MidiFile) -> tuple[Damage, ...]:
    """Return all damage, that inside the tracks too; raises MidiFileError where a track can't be read."""
    found = list(file.problems)
    for track in file.tracks:
        events = file.events(track)
        for _ in events:
            pass
        found.extend(events.damage)
    return tuple(found)


def _require_header(data: bytes, begin: int, finish: int) -> None:
    if finish == begin:
        raise MidiFileError(begin, "the file is empty: a MIDI file begins with MThd")
    if data[begin : begin + 4] != b"MThd":
        hidden = data.find(b"MThd", begin, finish)
        advice = f"; one begins at byte {hidden}: remove what is before it" if hidden >= 0 else ""
        raise MidiFileError(begin, f"not a Standard MIDI File: MThd is missing{advice}")
    if finish - begin < 14:
        raise MidiFileError(finish, f"the file ends inside its header, after {finish - begin} of 14 bytes")
    length = int.from_bytes(data[begin + 4 : begin + 8])
    if length < 6:
        raise MidiFileError(
            begin + 4, f"the header claims a length of {counted(length, 'byte')}; at least 6 are needed"
        )


def _judge_division(division: int, at: int, log: DamageLog) -> None:
    ticks_a_frame = division & 0xFF
    if division == 0 or (division & 0x8000 and not ticks_a_frame):
        raise MidiFileError(at, f"division {division:04X}: no ticks, so no event has a time: set it to 1 or more")
    rate = 256 - (division >> 8)
    if division & 0x8000 and rate not in SMPTE_RATES:
        log.note(at, f"division {division:04X} names {rate} frames a second; 24, 25, 29 and 30 are defined")
