"""Which outputs can be reached at all, and which by several holders: only there does merging cost anything.

A holder is a source, an incoming channel and an incoming key. What goes through a node counts as shared: that is
never wrong, only slower, since a holder that is alone is not touched.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence

from rules.lanes import FIRST, Lane
from rules.messages import BANK_LSB, BANK_MSB, CONTROLLER, NOTE_ON, PROGRAM, SYSEX
from rules.nodes.base import Node
from rules.pipeline import Cell, Table

Place = tuple[int, int]


def reached_channels(tables: Sequence[Table], nodes: Iterable[Node]) -> set[Place]:
    """The (port, channel 0-15) that any channel message can come out on."""
    after = [node.after for node in nodes if node.after is not None]
    return {place for table in (*tables, *after) for place in _reached(table)}


def shared_channels(tables: Sequence[Table], nodes: Iterable[Node]) -> frozenset[Place]:
    """The (port, channel 0-15) that two incoming channels, two sources, or two keys for one note can reach."""
    shared: set[Place] = set()
    owner: dict[Place, tuple[int, int]] = {}
    keys: dict[tuple[int, int, int], tuple[int, int, int]] = {}
    for source, table in enumerate(tables):
        for row in range(0x70):
            for lane, firsts in _lanes_of_row(table, row):
                if lane.node is not None or lane.status >= SYSEX:
                    continue
                place = (lane.target, lane.status & 0x0F)
                if owner.setdefault(place, (source, row & 0x0F)) != (source, row & 0x0F):
                    shared.add(place)
                if (
                    lane.status & 0xF0 == NOTE_ON
                    and place not in shared
                    and not _keeps_apart(lane, source, row, firsts, keys)
                ):
                    shared.add(place)
    for node in nodes:
        if node.after is not None:
            shared |= _reached(node.after)
    return frozenset(shared)


def _lanes_of_row(table: Table, row: int) -> list[tuple[Lane, list[int]]]:
    """Each lane of a row once, with the first bytes under which it stands."""
    firsts: dict[Cell, list[int]] = {}
    for first, cell in enumerate(table.rows[row]):
        firsts.setdefault(cell, []).append(first)
    found: dict[Lane, list[int]] = {}
    for cell, numbers in firsts.items():
        for lane in cell.lanes:
            found.setdefault(lane, []).extend(numbers)
    return list(found.items())


def _keeps_apart(
    lane: Lane, source: int, row: int, firsts: list[int], keys: dict[tuple[int, int, int], tuple[int, int, int]]
) -> bool:
    """Whether every key that a lane makes comes from one incoming key."""
    if lane.feed_one != FIRST:
        return False
    channel = lane.status & 0x0F
    return all(
        keys.setdefault((lane.target, channel, lane.one[first]), (source, row, first)) == (source, row, first)
        for first in firsts
    )


def _reached(table: Table) -> set[Place]:
    """Where a table leads by itself, without its nodes."""
    return {
        (lane.target, lane.status & 0x0F)
        for row in table.rows[:0x70]
        for cell in set(row)
        for lane in cell.lanes
        if lane.node is None and lane.status < SYSEX
    }


def shared_banks(tables: Sequence[Table]) -> frozenset[Place]:
    """The (port, channel 0-15) where bank selects and program changes of two sources can meet (ruling 16)."""
    sources: dict[Place, set[int]] = {}
    for source, table in enumerate(tables):
        for place in _bank_places(table):
            sources.setdefault(place, set()).add(source)
    return frozenset(place for place, reaching in sources.items() if len(reaching) > 1)


def _bank_places(table: Table) -> set[Place]:
    """Where the bank selects and program changes of one source can come out."""
    places: set[Place] = set()
    seen: set[tuple[int, int, int]] = set()

    def walk(table: Table, status: int, first: int) -> None:
        if (id(table), status, first) in seen:
            return
        seen.add((id(table), status, first))
        for lane in table.rows[status & 0x7F][first].lanes:
            outs = (lane.one[first],) if lane.feed_one == FIRST else tuple(set(lane.one[:128]))
            for out in outs:
                if not _is_bank(lane.status, out):
                    continue
                if lane.node is None:
                    places.add((lane.target, lane.status & 0x0F))
                elif lane.node.main.after is not None:
                    walk(lane.node.main.after, lane.status, out)

    for channel in range(16):
        walk(table, CONTROLLER | channel, BANK_MSB)
        walk(table, CONTROLLER | channel, BANK_LSB)
        for program in range(128):
            walk(table, PROGRAM | channel, program)
    return places


def _is_bank(status: int, first: int) -> bool:
    return status & 0xF0 == PROGRAM or (status & 0xF0 == CONTROLLER and first in (BANK_MSB, BANK_LSB))
