"""Counting: which rules matched a file's messages."""

from __future__ import annotations

from functools import lru_cache
from typing import Final

from rules.program.byte_tables import NO_BYTE
from rules.program.guards import ALWAYS, holds
from rules.program.native import i64, vec
from rules.program.pipeline import Pipeline
from rules.program.tables import Cell, Lane, Table

CHANNEL_ROWS: Final = 0x70
"""The rows of the channel statuses in a table; those of system messages follow."""

SINGLY: Final = 0
"""The group of messages that have to be counted one by one."""


class MessageGroups:
    """The messages of a source in groups that the same rules match.

    `of` has the group of each cell of the source's table. `members` tells of each group its rules and its channel.
    Where a rule asks more than status and first byte tell (velocity, values, switches), the group is SINGLY.
    """

    __slots__ = ("members", "of")

    def __init__(self, match_table: Table) -> None:
        self.of: list[int] = []
        self.members: list[tuple[tuple[int, ...], int]] = [((), 0)]
        for number, row in enumerate(match_table.rows):
            groups: dict[Cell, int] = {}
            for cell in row:
                if cell not in groups:
                    groups[cell] = SINGLY if any(map(_asks_more, cell.lanes)) else len(self.members)
                    if groups[cell] != SINGLY:
                        rules = tuple(sorted({lane.target for lane in cell.lanes}))
                        self.members.append((rules, _channel(number)))
                self.of.append(groups[cell])


@lru_cache(maxsize=64)
def groups_of(match_table: Table) -> MessageGroups:
    """The groups of a source, made once."""
    return MessageGroups(match_table)


class RuleCounts:
    """How many messages each rule matched, in all and by the channel on which they came."""

    __slots__ = ("_added", "_counted_singly", "_groups", "_hits", "_match_tables", "_rules", "_taken")

    def __init__(self, pipeline: Pipeline) -> None:
        self._match_tables = pipeline.match_tables
        self._rules = len(pipeline.rules)
        self._groups = [groups_of(table) for table in pipeline.match_tables]
        self._counted_singly = 0
        self._taken: dict[tuple[int, int], int] = {}  # by channel and rule, of those counted singly
        self._hits: dict[int, vec[i64]] = {}
        self._added: list[tuple[tuple[int, ...], int, int]] = []

    def counters(self, source: int) -> tuple[vec[i64], list[int]]:
        """The counters of a source by group, and the group of each of its cells; SINGLY ones go to `count_singly`."""
        groups = self._groups[source]
        if source not in self._hits:
            self._hits[source] = vec[i64]([0] * len(groups.members))
        return self._hits[source], groups.of

    def add(self, source: int, group: int, count: int) -> int | None:
        """Count messages of a group together, and say on which channel 0-15 they came; None if they have none."""
        rules, channel = self._groups[source].members[group]
        self._added.append((rules, channel, count))
        return channel if channel < 16 else None

    def count_singly(self, source: int, index: int, second: int, word: int) -> None:
        """Count one message by all that it is: its cell, its second data byte, the switches."""
        self._counted_singly += 1
        channel = _channel(index >> 7)
        rules = {
            lane.target
            for lane in self._match_tables[source].cells[index].lanes
            if lane.gate[second] != NO_BYTE and (lane.guard == ALWAYS or holds(lane.guard, word))
        }
        for rule in rules:
            self._taken[channel, rule] = self._taken.get((channel, rule), 0) + 1

    @property
    def messages(self) -> int:
        """How many messages were counted."""
        return self._counted_singly + sum(count for _, _, count in self._counted())

    def matched(self, channel: int | None = None) -> list[int]:
        """The messages that each rule matched, by its number; with a channel 0-15, only those that came on it."""
        totals = [0] * self._rules
        for (came, rule), count in self._taken.items():
            if channel is None or came == channel:
                totals[rule] += count
        for rules, came, count in self._counted():
            if channel is None or came == channel:
                for rule in rules:
                    totals[rule] += count
        return totals

    def _counted(self) -> list[tuple[tuple[int, ...], int, int]]:
        """Rules, channel and count of the groups that were hit."""
        found = self._added.copy()
        for source, hits in self._hits.items():
            members = self._groups[source].members
            for group, count in enumerate(hits):
                if count:
                    rules, channel = members[group]
                    found.append((rules, channel, count))
        return found


def _channel(row: int) -> int:
    """The channel 0-15 of a row; 16 for system messages, which have none."""
    return row & 0x0F if row < CHANNEL_ROWS else 16


def _asks_more(lane: Lane) -> bool:
    return lane.guard != ALWAYS or NO_BYTE in lane.gate[:128]
