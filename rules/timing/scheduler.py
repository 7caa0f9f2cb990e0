"""What is due when, in order of time, then of origin (ruling 29)."""

from __future__ import annotations

import heapq
from collections.abc import Callable
from typing import Generic, TypeVar

from rules.timing.delays import NEVER

Entry = TypeVar("Entry")


class Agenda(Generic[Entry]):
    """Entries by due time, those of one time in order of origin. `count` is how many were ever put in."""

    __slots__ = ("_heap", "_origins", "_serial", "count", "next_due")

    def __init__(self) -> None:
        self._heap: list[tuple[int, int, int, Entry]] = []
        self._origins = 0
        self._serial = 0
        self.count = 0
        self.next_due = NEVER

    def origin(self) -> int:
        """The next place in the order of origin."""
        self._origins += 1
        return self._origins

    def add(self, due: int, entry: Entry, origin: int | None = None) -> None:
        """Puts an entry in at its time; without an `origin` it is the latest."""
        self.count += 1
        self.put_back(due, entry, self.origin() if origin is None else origin)

    def put_back(self, due: int, entry: Entry, origin: int) -> None:
        """The same for an entry that was in before, or stands for one that was."""
        self._serial += 1
        heapq.heappush(self._heap, (due, origin, self._serial, entry))
        self.next_due = self._heap[0][0]

    def pop(self) -> tuple[int, Entry]:
        """Takes out the entry that is due first. Raises IndexError when there is none."""
        due, _, _, entry = heapq.heappop(self._heap)
        self.next_due = self._heap[0][0] if self._heap else NEVER
        return due, entry

    def take(self, wanted: Callable[[Entry], bool]) -> list[Entry]:
        """Takes out all entries of a sort, in the order in which they would have been due."""
        taken = [item[3] for item in sorted(self._heap, key=lambda item: item[:3]) if wanted(item[3])]
        self._heap = [item for item in self._heap if not wanted(item[3])]
        heapq.heapify(self._heap)
        self.next_due = self._heap[0][0] if self._heap else NEVER
        return taken
