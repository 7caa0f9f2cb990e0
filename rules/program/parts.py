"""A pipeline taken to parts, each so small that a process which plays can take it in between two messages.

A part names only what is in it or came before it: of each table first its lanes, then its cells, its rows and itself;
of tables those first that others lead to. What a part holds is made again as `how_made` says.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import fields, replace
from fractions import Fraction
from types import MappingProxyType
from typing import Any, Final, TypeVar

from rules.program.byte_tables import IDENTITY, NO_BYTE, gate_of
from rules.program.guards import Guard
from rules.program.pipeline import ChasedBranch, Pipeline, SwitchAction, WrittenMessage
from rules.program.tables import AnyNode, Cell, CellsByStates, Lane, Row, SwitchedCell, Table
from rules.timing.delays import AT_ONCE, Delay

Thing = TypeVar("Thing")
Made = tuple[Callable[..., Any], tuple[Any, ...]]
"""How a thing is made again: what to call, and with what."""

_LANES: Final = 16
_LANES_OF_CELLS: Final = 512
_ROWS: Final = 8
"""So many in a part: it takes about a tenth of a millisecond to make them again."""


def parts_of(pipeline: Pipeline) -> Iterator[object]:
    """Yield the parts of a pipeline, and the pipeline itself as the last.

    They are to be taken in by one reader, in this order. `match_tables` and `loss_tables` are left out: they are about
    recordings, and nothing that plays asks for them.
    """
    known: set[int] = set()
    for table in _innermost_first(_tables_of(pipeline)):
        rows = _new(table.rows, known)
        cells = _new((cell for row in rows for each in row for cell in _with_ons(each)), known)
        lanes = _new((lane for cell in cells for lane in cell.lanes), known)
        yield from _batches(lanes, _LANES)
        yield from _batches(cells, _LANES_OF_CELLS, lambda cell: 4 + len(cell.lanes))
        yield from _batches(rows, _ROWS)
        yield table
    yield pipeline


def how_made(thing: object) -> Made | None:
    """Return how a thing of a pipeline is made again; None for all that can be copied field by field."""
    made = _MAKERS.get(type(thing))
    return None if made is None else made(thing)


# -- the order ---------------------------------------------------------------------------------------------------------


def _tables_of(pipeline: Pipeline) -> Iterator[Table]:
    yield from pipeline.tables
    yield from (branch.table for branch in pipeline.branches)
    yield from (table for table in pipeline.arrivals if table is not None)
    yield from (node.after for node in pipeline.nodes.values() if node.after is not None)


def _innermost_first(tables: Iterator[Table]) -> Sequence[Table]:
    """Tables and all that they lead to, each behind those that it leads to. However long a chain is, nothing nests."""
    found: dict[Table, None] = {}
    waiting = [(table, False) for table in tables]
    while waiting:
        table, is_ready = waiting.pop()
        if table in found:
            continue
        if is_ready:
            found[table] = None
        else:
            waiting.append((table, True))
            waiting += ((behind, False) for behind in _behind(table) if behind not in found)
    return list(found)


def _behind(table: Table) -> Mapping[Table, None]:
    cells = {cell: None for row in table.rows for cell in row}
    nodes: dict[AnyNode, None] = {lane.node: None for cell in cells for lane in cell.lanes if lane.node is not None}
    afters = (after for node in nodes for after in (node.after, node.main.after))
    return {after: None for after in afters if after is not None}


def _with_ons(cell: Cell) -> tuple[Cell, ...]:
    return (cell,) if cell.ons is None else (cell.ons, cell)


def _new(things: Any, known: set[int]) -> list[Any]:
    """Things that aren't known yet, once each; now they are. All of them live for as long as the pipeline."""
    found = []
    for thing in things:
        if id(thing) not in known:
            known.add(id(thing))
            found.append(thing)
    return found


def _batches(
    things: Sequence[Thing], most: int, weight: Callable[[Thing], int] = lambda thing: 1
) -> Iterator[Sequence[Thing]]:
    """Yield things in batches that weigh at most so much, or that are one thing."""
    batch: list[Thing] = []
    weighs = 0
    for thing in things:
        weighs += weight(thing)
        if batch and weighs > most:
            yield batch
            batch, weighs = [], weight(thing)
        batch.append(thing)
    if batch:
        yield batch


# -- how things are made again: functions, since classes of compiled code can't be copied field by field ---------------


def _lane(
    status: int,
    one: bytes | None,
    two: bytes | None,
    feeds: tuple[int, int],
    gate_two: int,
    guard: Guard,
    release: bytes | None,
    node: AnyNode | None,
    target: int,
    rule: str,
) -> Lane:
    return Lane(
        status,
        one=IDENTITY if one is None else one,
        two=IDENTITY if two is None else two,
        feed_one=feeds[0],
        feed_two=feeds[1],
        gate_two=gate_two,
        guard=guard,
        release=release,
        node=node,
        target=target,
        rule=rule,
    )


def _lane_made(lane: Lane) -> Made:
    return _lane, (
        lane.status,
        None if lane.one is IDENTITY else lane.one,
        None if lane.two is IDENTITY else lane.two,
        (lane.feed_one, lane.feed_two),
        gate_of(number for number in range(128) if lane.gate[number] != NO_BYTE),
        lane.guard,
        lane.release,
        lane.node,
        lane.target,
        lane.rule,
    )


def _cell(lanes: tuple[Lane, ...], path: int, merged: bool, ons: Cell | None, word: int) -> Cell:
    return Cell(lanes, path, merged=merged, ons=ons, word=word)


def _cell_made(cell: Cell) -> Made:
    return _cell, (cell.lanes, cell.path, cell.merged, cell.ons, cell.word)


def _switched_cell(lanes: tuple[Lane, ...], kind: int, cells: CellsByStates) -> SwitchedCell:
    return SwitchedCell(lanes, kind, cells)


def _switched_cell_made(cell: SwitchedCell) -> Made:
    return _switched_cell, (cell.lanes, cell.kind, cell.cells)


def _table(rows: Sequence[Row], acts: bool) -> Table:
    return Table(rows, acts=acts)


def _table_made(table: Table) -> Made:
    return _table, (table.rows, table.acts)


def _delay(ms: Fraction, beats: Fraction) -> Delay:
    return Delay(ms, beats) if ms or beats else AT_ONCE  # which is known by being the one


def _delay_made(delay: Delay) -> Made:
    return _delay, (delay.ms, delay.beats)


def _record_made(record: Any) -> Made:
    return type(record), tuple(getattr(record, field.name) for field in fields(record))


def _pipeline_made(pipeline: Pipeline) -> Made:
    return _record_made(replace(pipeline, match_tables=(), loss_tables=()))


_MAKERS: Final[Mapping[type, Callable[[Any], Made]]] = MappingProxyType(
    {
        Lane: _lane_made,
        Cell: _cell_made,
        SwitchedCell: _switched_cell_made,
        Table: _table_made,
        Delay: _delay_made,
        ChasedBranch: _record_made,
        SwitchAction: _record_made,
        WrittenMessage: _record_made,
        Pipeline: _pipeline_made,
    }
)
