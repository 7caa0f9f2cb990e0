"""The set list for the wall: the songs in order, and for each what the player wants to know of it."""

from __future__ import annotations

from collections.abc import Iterable
from typing import NamedTuple

from rules.midi.notation import Naming
from rules.rulefile.press_words import press_words
from rules.rulefile.reading import Reading
from rules.rulefile.song_tables import SONG, Song
from rules.rulefile.switch_tables import Trigger, ValueSwitch


class SongRow(NamedTuple):
    """A song on the list, in words; `sends` are messages by device or port, `chosen_by` what chooses it at once.

    `bpm` is its tempo, None where the tempo stays.
    """

    name: str
    bpm: float | None
    about: tuple[str, ...]
    sends: tuple[tuple[str, tuple[str, ...]], ...]
    asks: tuple[str, ...]
    rules: tuple[str, ...]
    chosen_by: tuple[str, ...]

    @property
    def tempo(self) -> str:
        """Its tempo in words; empty where it has none of its own."""
        return "" if self.bpm is None else f"{self.bpm:g} BPM"

    @property
    def lines(self) -> tuple[str, ...]:
        """All but its name and tempo, a line each."""
        named = (("open", self.rules), ("asks for", self.asks), ("by", self.chosen_by))
        return (
            *self.about,
            *(f"{name}: {', '.join(messages)}" for name, messages in self.sends),
            *(f"{word}: {', '.join(each)}" for word, each in named if each),
        )


class SongSheet(NamedTuple):
    """The songs, and how the player gets from one to the other."""

    songs: tuple[SongRow, ...]
    next: tuple[str, ...]
    previous: tuple[str, ...]
    wraps: bool

    @property
    def notes(self) -> tuple[str, ...]:
        """Sentences about the way from song to song."""
        ways = (("Next song", self.next), ("Song before", self.previous))
        end = "The first song follows the last one." if self.wraps else "The last song has no next one."
        return (*(f"{way}: {'; '.join(by)}." for way, by in ways if by), end)


def song_sheet(reading: Reading) -> SongSheet:
    """Return the list; it has no songs where the rule files have none."""
    switch = reading.ruleset.switches.get(SONG)
    if not reading.ruleset.songs or not isinstance(switch, ValueSwitch):
        return SongSheet((), (), (), wraps=False)
    naming = reading.switches[SONG].source.naming
    rows = [_row(song, place.source.naming) for song, place in zip(reading.ruleset.songs, reading.songs, strict=True)]
    forward, back = ([one for one in switch.advance if one.by == by] for by in (1, -1))
    return SongSheet(tuple(rows), _by(forward, naming), _by(back, naming), switch.wrap)


def _row(song: Song, naming: Naming) -> SongRow:
    sends = tuple((name, tuple(each.words(naming) for each in messages)) for name, messages in song.send.items())
    about = tuple(line.strip() for line in (song.about or "").splitlines() if line.strip())
    return SongRow(song.name, song.bpm, about, sends, song.do, song.rules, _by(song.set, naming))


def _by(triggers: Iterable[Trigger], naming: Naming) -> tuple[str, ...]:
    return tuple(press_words(trigger, naming) for trigger in triggers)
