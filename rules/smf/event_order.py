"""The order of playing: the events of all tracks by tick, then by track, then as they stand (rulings 29, 32)."""

from __future__ import annotations

from bisect import bisect_left, bisect_right
from collections.abc import Iterable, Iterator, Sequence
from heapq import merge
from itertools import islice, repeat
from operator import itemgetter
from typing import Final

from rules.smf.track_events import TrackEvent

CHUNK: Final = 512
"""How many events of a track are read at a time."""

MOST_IN_CHUNKS: Final = 128
"""How many tracks are read in chunks."""

Timed = tuple[int, int, TrackEvent]
"""An event behind its tick and the number of its track, so that tuples sort in the order of playing."""

_tick: Final = itemgetter(0)


def in_order(tracks: Sequence[Iterable[TrackEvent]]) -> Iterator[list[Timed]]:
    """Yield the events of all tracks in batches that follow each other in time.

    Only a chunk of each track is held at a time. A batch is what comes before the earliest end of a chunk; sorting it,
    which is merging, is quicker than choosing among tracks event by event. Where tracks are so many that their chunks
    would be most of the file, only one event of each is held.
    """
    if len(tracks) > MOST_IN_CHUNKS:
        merged = merge(*(_timed(number, events) for number, events in enumerate(tracks)))
        while batch := list(islice(merged, CHUNK)):
            yield batch
        return
    readers = [_Reader(number, iter(events)) for number, events in enumerate(tracks)]
    while any(reader.waiting for reader in readers):
        ends = [reader.waiting[-1][:2] for reader in readers if reader.has_more]
        until = min(ends, default=None)
        batch = []
        for reader in readers:
            batch += reader.take(until)
        batch.sort()
        yield batch


def _timed(number: int, events: Iterable[TrackEvent]) -> Iterator[Timed]:
    """Yield the events of one track with what they are ordered by."""
    for event in events:
        yield event[0], number, event


class _Reader:
    """One track, read a chunk at a time; `waiting` holds something as long as it `has_more`."""

    def __init__(self, number: int, events: Iterator[TrackEvent]) -> None:
        self._number = number
        self._events = events
        self.has_more = True
        self.waiting: list[Timed] = []
        self._read_on()

    def _read_on(self) -> None:
        events = list(islice(self._events, CHUNK))
        self.has_more = len(events) == CHUNK
        self.waiting += zip(map(_tick, events), repeat(self._number), events)

    def take(self, until: tuple[int, int] | None) -> list[Timed]:
        """Return what comes up to a tick and track (None: everything); read on where nothing is left.

        At that tick the tracks before that one come first, and those behind it later.
        """
        waiting = self.waiting
        if until is None:
            self.waiting = []
            return waiting
        tick, number = until
        cut = (bisect_right if self._number <= number else bisect_left)(waiting, tick, key=_tick)
        self.waiting = waiting[cut:]
        if self.has_more and not self.waiting:
            self._read_on()
        return waiting[:cut]
