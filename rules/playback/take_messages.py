"""A take as what it sends: every message with its tick and its source, in the order of playing."""

from __future__ import annotations

from array import array
from bisect import bisect_left
from collections.abc import Iterator, Sequence
from typing import Final, NamedTuple

from rules.errors import MidiFileError
from rules.midi.messages import CLOCK, CONTINUE, SONG_POSITION, START, STOP
from rules.playback.live_messages import LiveMessages
from rules.smf.event_order import in_order
from rules.smf.midi_file import MidiFile
from rules.smf.track_events import META

_CLOCKWORK: Final = frozenset({CLOCK, START, CONTINUE, STOP, SONG_POSITION})
_PATTERNS: Final = 2
"""The format whose tracks are pieces of their own."""


class TakeMessage(NamedTuple):
    """A message of a take: its tick, the number of its source among those that the take plays as, its bytes."""

    tick: int
    source: int
    message: bytes


class TakeMessages:
    """The messages of a file; `sources` has the number of each track's source.

    `end` is the tick at which the last track ends, `has_clockwork` whether the file itself holds clock or transport,
    `faulty` how many things in it are no messages that can be sent. Each message takes about 20 bytes of memory, as
    most of a take are alike. Raises MidiFileError for what can't be read, and for format 2.
    """

    def __init__(self, file: MidiFile, sources: Sequence[int]) -> None:
        if file.format == _PATTERNS:
            raise MidiFileError(
                file.begin + 8, "a file of format 2 holds pieces without a common time: export each one"
            )
        self._ticks = array("q")
        self._sources = array("H")
        self._messages: list[bytes] = []
        self.end = 0
        self.has_clockwork = False
        self.faulty = 0
        self._read(file, sources)

    def _read(self, file: MidiFile, sources: Sequence[int]) -> None:
        tracks = [LiveMessages() for _ in file.tracks]
        known: dict[bytes, bytes] = {}
        for batch in in_order([file.events(track) for track in file.tracks]):
            for tick, track, event in batch:
                self.end = max(self.end, tick)
                if event[4][0] == META:
                    continue
                for message in tracks[track].of_event(event[4]):
                    self._ticks.append(tick)
                    self._sources.append(sources[track])
                    self._messages.append(known.setdefault(message, message))
                    self.has_clockwork = self.has_clockwork or message[0] in _CLOCKWORK
        self.faulty = sum(track.faulty for track in tracks)

    def __len__(self) -> int:
        return len(self._messages)

    def between(self, begin: int, end: int) -> Iterator[TakeMessage]:
        """Yield what is at ticks from `begin` up to, without, `end`."""
        first, behind = bisect_left(self._ticks, begin), bisect_left(self._ticks, end)
        for at in range(first, behind):
            yield TakeMessage(self._ticks[at], self._sources[at], self._messages[at])
