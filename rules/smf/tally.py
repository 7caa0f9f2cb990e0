"""Counting: which rules took a file's messages."""

from __future__ import annotations

from functools import lru_cache
from typing import Final

from rules.guards import ALWAYS, holds
from rules.lanes import NOWHERE, Lane
from rules.pipeline import Pipeline, Table

CHANNEL_CELLS: Final = 0x70 << 7
"""The cells of the channel statuses; those of system messages follow."""


class RuleTally:
    """How many messages each rule took.

    Messages are counted by the cell they fall into; only where a rule asks more than status and first byte tell
    (velocity, values, switches) each message is judged by itself.
    """

    __slots__ = ("_by_cell", "_careful", "_counts", "_counts_on", "_judged", "_takers")

    def __init__(self, pipeline: Pipeline) -> None:
        self._judged = 0
        self._takers = pipeline.takers
        self._counts = [0] * len(pipeline.rules)
        self._counts_on = [[0] * len(pipeline.rules) for _ in range(16)]
        self._by_cell = [[0] * 0x4000 for _ in pipeline.sources]
        self._careful = [_careful_cells(table) for table in pipeline.takers]

    def cells(self, source: int) -> tuple[list[int], bytes]:
        """The counters of a source by cell, and which cells need `judge` instead (1)."""
        return self._by_cell[source], self._careful[source]

    def judge(self, source: int, index: int, second: int, word: int) -> None:
        """Counts one message of a careful cell."""
        rules = {
            lane.rule
            for lane in self._takers[source].cells[index].lanes
            if lane.gate[second] != NOWHERE and (lane.guard == ALWAYS or holds(lane.guard, word))
        }
        self._judged += 1
        for rule in rules:
            self._counts[rule] += 1
            if index < CHANNEL_CELLS:
                self._counts_on[index >> 7 & 0x0F][rule] += 1

    @property
    def messages(self) -> int:
        """How many messages were counted."""
        return self._judged + sum(map(sum, self._by_cell))

    def taken(self, channel: int | None = None) -> list[int]:
        """The messages that each rule took, by its number; with a channel 0-15, only those that came on it."""
        totals = list(self._counts if channel is None else self._counts_on[channel])
        for table, counts in zip(self._takers, self._by_cell, strict=True):
            for index, count in enumerate(counts):
                if count and (channel is None or (index < CHANNEL_CELLS and index >> 7 & 0x0F == channel)):
                    for rule in {lane.rule for lane in table.cells[index].lanes}:
                        totals[rule] += count
        return totals


@lru_cache(maxsize=64)
def _careful_cells(table: Table) -> bytes:
    careful = bytearray(0x4000)
    for number, row in enumerate(table.rows):
        kinds = {cell: any(_asks_more(lane) for lane in cell.lanes) for cell in set(row)}
        for first, cell in enumerate(row):
            careful[number << 7 | first] = kinds[cell]
    return bytes(careful)


def _asks_more(lane: Lane) -> bool:
    return lane.guard != ALWAYS or NOWHERE in lane.gate[:128]
