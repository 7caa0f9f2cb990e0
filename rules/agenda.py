"""What is due when: sends and call backs, in order of time, then of origin (ruling 29)."""

from __future__ import annotations

import heapq
from collections.abc import Callable
from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

from rules.holder import Copy

if TYPE_CHECKING:
    from rules.nodes.base import Node

NEVER: Final = 1 << 62
"""A time that doesn't come."""


@dataclass(frozen=True, slots=True)
class Sending:
    """A message on behalf of a holder: whose (`player`, its source, `in_key`, `copy`), where to, and what."""

    player: int
    source: int
    in_key: int
    copy: Copy
    target: int
    message: bytes


@dataclass(frozen=True, slots=True)
class CallBack:
    """A node that asked to be called."""

    node: Node
    name: object


Entry = Sending | CallBack


class Agenda:
    """Entries by due time, those of one time in the order they were made. `count` is how many there ever were."""

    __slots__ = ("_heap", "count", "next_due")

    def __init__(self) -> None:
        self._heap: list[tuple[int, int, Entry]] = []
        self.count = 0
        self.next_due = NEVER

    def add(self, due: int, entry: Entry) -> None:
        """Puts an entry in at its time."""
        self.count += 1
        heapq.heappush(self._heap, (due, self.count, entry))
        self.next_due = self._heap[0][0]

    def pop(self) -> tuple[int, Entry]:
        """Takes out the entry that is due first. Raises IndexError when there is none."""
        due, _, entry = heapq.heappop(self._heap)
        self.next_due = self._heap[0][0] if self._heap else NEVER
        return due, entry

    def take(self, wanted: Callable[[Entry], bool]) -> list[Entry]:
        """Takes out all entries of a sort, in the order in which they would have been due."""
        taken = [item[2] for item in sorted(self._heap, key=lambda item: item[:2]) if wanted(item[2])]
        self._heap = [item for item in self._heap if not wanted(item[2])]
        heapq.heapify(self._heap)
        self.next_due = self._heap[0][0] if self._heap else NEVER
        return taken

    def change(self, changed: Callable[[Entry], Entry]) -> None:
        """Replaces every entry by what a function makes of it; times and order stay."""
        self._heap = [(due, count, changed(entry)) for due, count, entry in self._heap]
