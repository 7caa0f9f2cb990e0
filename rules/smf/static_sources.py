"""Which sources need no engine, since their tables alone decide what becomes of a message.

That is so where no node or switch stands in the way, a note-off follows its note-on by itself, nothing is held that
the rules could strand, and no other holder can reach the output.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass

from rules.midi.messages import CONTROLLER, PROGRAM, SYSEX
from rules.midi.neutral import HELD_CONTROLLERS
from rules.program.byte_tables import IDENTITY, NO_BYTE
from rules.program.guards import ALWAYS
from rules.program.pipeline import Pipeline
from rules.program.tables import HELD, NOTE, PASS, Cell, Lane, Row, Table
from rules.smf.rule_counts import groups_of


@dataclass(frozen=True, slots=True)
class StaticSource:
    """A source whose tables decide alone: its cells, the rules that each one counts for, the ports it reaches."""

    cells: Sequence[Cell]
    groups: Sequence[int]
    ports: frozenset[int]


def static_sources(pipeline: Pipeline, per_port: bool) -> Mapping[int, StaticSource]:
    """The sources, by number, that the stream route can play into one file, or into a file for each port."""
    found = {}
    for source, table in enumerate(pipeline.tables):
        lanes = [lane for row in table.rows for cell in set(row) for lane in cell.lanes]
        ports = frozenset(lane.target for lane in lanes)
        channels = {(lane.target, lane.status & 0x0F) for lane in lanes if lane.status < SYSEX}
        keeps_apart = len(channels) == len({channel for _, channel in channels})
        if (len(ports) <= 1 if per_port else keeps_apart) and _decides_alone(table, pipeline):
            found[source] = StaticSource(table.cells, groups_of(pipeline.match_tables[source]).of, ports)
    return found


def _decides_alone(table: Table, pipeline: Pipeline) -> bool:
    channel_rows, system_rows = table.rows[: SYSEX & 0x7F], table.rows[SYSEX & 0x7F :]
    return all(
        _is_static(number | 0x80, first, cell, pipeline)
        for number, row in enumerate(channel_rows)
        for cell, first in _cells_of(row, number)
    ) and all(lane.node is None and lane.guard == ALWAYS for row in system_rows for lane in row[0].lanes)


def _cells_of(row: Row, number: int) -> Iterable[tuple[Cell, int]]:
    """The cells of a row, each once; those of controllers with every controller they stand for."""
    if number & 0x70 == CONTROLLER & 0x70:
        return zip(row, range(128), strict=True)
    return dict(zip(row, range(128), strict=True)).items()


def _is_static(status: int, first: int, cell: Cell, pipeline: Pipeline) -> bool:
    """Return whether a cell's lanes alone say what becomes of its messages, whatever came before."""
    if not cell.lanes:
        return True
    if cell.path in (NOTE, HELD, PASS):
        return not cell.merged
    if status & 0xF0 not in (CONTROLLER, PROGRAM):
        return False
    if len({(lane.target, lane.status) for lane in cell.lanes}) < len(cell.lanes):
        return False
    return all(_is_static_lane(status, first, lane, pipeline) for lane in cell.lanes)


def _is_static_lane(status: int, first: int, lane: Lane, pipeline: Pipeline) -> bool:
    """Return whether a lane alone says what becomes of its messages.

    What the engine handles with care - pedals, banks, parameters, mode messages - goes straight while no one shares the
    channel; but what is held until it comes to rest may not be filtered by value.
    """
    if not lane.plain or lane.status & 0xF0 != status & 0xF0 or lane.one is not IDENTITY:
        return False
    if (lane.target, lane.status & 0x0F) in pipeline.shared:
        return False
    return NO_BYTE not in lane.gate[:128] or (status & 0xF0 == CONTROLLER and first not in HELD_CONTROLLERS)
