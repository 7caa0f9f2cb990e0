"""The order of playing: the events of all tracks by tick, then by track, then as they stand (rulings 29, 32)."""

from __future__ import annotations

from bisect import bisect_left
from collections.abc import Iterable, Iterator, Sequence
from itertools import islice, repeat
from operator import itemgetter
from typing import Final

from rules.smf.track_events import TrackEvent

CHUNK: Final = 512
"""How many events of a track are read at a time."""

Timed = tuple[int, int, TrackEvent]
"""An event behind its tick and the number of its track, so that tuples sort in the order of playing."""

_tick: Final = itemgetter(0)


def in_order(tracks: Sequence[Iterable[TrackEvent]]) -> Iterator[list[Timed]]:
    """The events of all tracks in batches that follow each other in time.

    Only a chunk of each track is held at a time. A batch is what lies before the earliest tick at which a chunk ends;
    sorting it, which is merging, is quicker than choosing among tracks event by event.
    """
    readers = [_Reader(number, iter(events)) for number, events in enumerate(tracks)]
    while any(reader.waiting for reader in readers):
        ends = [reader.waiting[-1][0] for reader in readers if reader.has_more]
        until = min(ends, default=None)
        batch: list[Timed] = []
        for reader in readers:
            batch += reader.take(until)
        batch.sort()
        yield batch


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

    def take(self, until: int | None) -> list[Timed]:
        """Return what lies before a tick (None: everything); reads on where that is all that is certain."""
        waiting = self.waiting
        if until is None:
            self.waiting = []
            return waiting
        cut = bisect_left(waiting, until, key=_tick)
        self.waiting = waiting[cut:]
        if self.has_more and waiting[-1][0] == until:
            self._read_on()
        return waiting[:cut]
