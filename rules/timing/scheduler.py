"""What is due when, in order of time, then of origin (ruling 29)."""

from __future__ import annotations

import heapq
from collections.abc import Callable, Iterator
from typing import Final, Generic, TypeVar

from rules.timing.delays import NEVER

Entry = TypeVar("Entry")

_MOST_CANCELLED: Final = 1000
"""How many cancelled entries may stay in the heap, even if they are most of it."""


class Scheduler(Generic[Entry]):
    """Entries by due time, those of one time in order of origin.

    Each entry has a serial number from 1. A cancelled entry stays in the heap until its turn, since finding it there
    would mean looking at all of them; `next_due` is always that of an entry that is not cancelled.
    """

    __slots__ = ("_cancelled", "_heap", "_origins", "_serial", "next_due")

    def __init__(self) -> None:
        self._heap: list[tuple[int, int, int, Entry]] = []
        self._cancelled: set[int] = set()
        self._origins = 0
        self._serial = 0
        self.next_due = NEVER

    def __len__(self) -> int:
        return len(self._heap) - len(self._cancelled)

    def origin(self) -> int:
        """Return the next number in the order of origin."""
        self._origins += 1
        return self._origins

    def add(self, due: int, entry: Entry, origin: int = 0) -> int:
        """Add an entry at its time, without an `origin` as the latest; return its serial number."""
        self._serial += 1
        heapq.heappush(self._heap, (due, origin or self.origin(), self._serial, entry))
        self.next_due = self._heap[0][0]
        return self._serial

    def cancel(self, serial: int) -> None:
        """Cancel an entry that is not due yet, by its serial number."""
        self._cancelled.add(serial)
        if len(self._cancelled) > _MOST_CANCELLED and len(self._cancelled) * 2 > len(self._heap):
            self._heap = [item for item in self._heap if item[2] not in self._cancelled]
            self._cancelled.clear()
            heapq.heapify(self._heap)
        self._uncover()

    def pop(self) -> tuple[int, int, Entry]:
        """Remove the entry that is due first; return its time, origin and value. Raises IndexError if there is none."""
        due, origin, _, entry = heapq.heappop(self._heap)
        self._uncover()
        return due, origin, entry

    def take(self, wanted: Callable[[Entry], bool]) -> list[Entry]:
        """Remove the `wanted` entries, and return them in the order in which they would have been due."""
        there = [item for item in self._heap if item[2] not in self._cancelled]
        self._cancelled.clear()
        taken = [item[3] for item in sorted(there, key=lambda item: item[:3]) if wanted(item[3])]
        self._heap = [item for item in there if not wanted(item[3])]
        heapq.heapify(self._heap)
        self._uncover()
        return taken

    def move(self, new_due: Callable[[int, Entry], int]) -> None:
        """Give all entries new times, which `new_due` says of (due, entry), asked in the order of the times before.

        Origins and serial numbers stay.
        """
        there = sorted((item for item in self._heap if item[2] not in self._cancelled), key=lambda item: item[:3])
        self._cancelled.clear()
        self._heap = [(new_due(due, entry), origin, serial, entry) for due, origin, serial, entry in there]
        heapq.heapify(self._heap)
        self._uncover()

    def __iter__(self) -> Iterator[Entry]:
        """Yield the entries that are not cancelled, in no order."""
        return (item[3] for item in self._heap if item[2] not in self._cancelled)

    def _uncover(self) -> None:
        """Remove cancelled entries from the top of the heap."""
        heap, cancelled = self._heap, self._cancelled
        if cancelled:
            while heap and heap[0][2] in cancelled:
                cancelled.discard(heapq.heappop(heap)[2])
        self.next_due = heap[0][0] if heap else NEVER
