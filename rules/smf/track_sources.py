"""Which source plays each track of a file: by the name of the track, or by its number."""

from __future__ import annotations

from collections.abc import Sequence

from rules.smf.midi_file import MidiFile
from rules.smf.report import Playing
from rules.smf.track_events import META, TRACK_NAME, content


def track_sources(file: MidiFile, playing: Playing, sources: Sequence[str]) -> list[int]:
    """Return the number of the source of each track; `sources` are the names of all input ports, in order."""
    if not playing.tracks:
        return [sources.index(playing.default)] * len(file.tracks)
    named = {bare(name): source for name, source in playing.tracks.items()}
    names = [
        named.get(f"#{number + 1}") or named.get(track_name(file, number) or "") or playing.default
        for number in range(len(file.tracks))
    ]
    return [sources.index(name) for name in names]


def missing_tracks(file: MidiFile, playing: Playing) -> list[str]:
    """Return the tracks that were named and aren't there, as they were asked for."""
    if not playing.tracks:
        return []
    numbers = range(len(file.tracks))
    there = {track_name(file, number) for number in numbers} | {f"#{number + 1}" for number in numbers}
    return [wanted for wanted in playing.tracks if bare(wanted) not in there]


def bare(name: str) -> str:
    """A track name as it is asked for: many programs fill it up with blanks or zeros, which nobody sees."""
    return name.strip(" \t\r\n\0")


def track_name(file: MidiFile, number: int) -> str | None:
    """The first track name in a track, as bare text; bytes that aren't UTF-8 are read as Latin-1."""
    for _, _, _, _, message in file.events(file.tracks[number]):
        if message[0] == META and message[1] == TRACK_NAME:
            name = content(message)
            try:
                return bare(name.decode())
            except UnicodeDecodeError:
                return bare(name.decode("latin-1"))
    return None
