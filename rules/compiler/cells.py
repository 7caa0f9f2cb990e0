"""Cells: the lanes under one status and first data byte, and whether the engine may take the fast path through them."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from typing import Final

from rules.compiler.fast_paths import (
    CAREFUL,
    Lanes,
    keys_are_alike,
    path_of_key_pressure,
    path_of_notes,
    path_of_others,
)
from rules.compiler.switched_cells import SwitchedNotes, SwitchedValues, asks_for_switches, bends_meet, keeps_kind
from rules.midi.controllers import MODULATION
from rules.midi.messages import CHANNEL_PRESSURE, CONTROLLER, KEY_PRESSURE, NOTE_OFF, NOTE_ON, PITCH_BEND, PROGRAM
from rules.program.byte_tables import ALL, open_in
from rules.program.forms import Form
from rules.program.tables import GENERAL, AnyNode, Cell, Lane, OutputChannel, SwitchedCell, Table

_KIND_NAMES: Final = {PROGRAM: "program", CHANNEL_PRESSURE: "channel-pressure", PITCH_BEND: "pitch-bend"}

_WHOLE_WAY: Final = 1
"""The sort of what never takes the fast path."""


class CellMaker:
    """Makes cells, equal ones once. `chased` names what `chase` must remember: controllers and kinds."""

    def __init__(self, chased: Iterable[int | str]) -> None:
        self._chased = frozenset(chased)
        self._lanes: dict[Form, Lane] = {}
        self._cells: dict[object, Cell] = {}

    def table(self, forms_by_status: Iterable[Sequence[Form]]) -> Table:
        """The table for the forms of each status 80-FF, in order."""
        by_status = list(forms_by_status)
        acts = any(form.node is not None and _acts(form.node.main) for forms in by_status for form in forms)
        return Table([self._row(forms) for forms in by_status], acts=acts)

    def _row(self, forms: Sequence[Form]) -> list[Cell]:
        lanes = [self._lane(form) for form in forms]
        gates = [form.gate_one for form in forms]
        if all(gate == ALL for gate in gates):
            return [self._cell(tuple(lanes))] * 128
        under: list[list[Lane]] = [[] for _ in range(128)]
        for lane, gate in zip(lanes, gates, strict=True):
            for first in open_in(gate):
                under[first].append(lane)
        return [self._cell(tuple(found)) for found in under]

    def _lane(self, form: Form) -> Lane:
        lane = self._lanes.get(form)
        if lane is None:
            lane = self._lanes[form] = form.lane()
        return lane

    def _cell(self, lanes: Lanes) -> Cell:
        cell = self._cells.get(lanes)
        if cell is None:
            cell = self._cells[lanes] = Cell(lanes)
        return cell

    def _kept(self, key: object, cell: Cell) -> Cell:
        return self._cells.setdefault(key, cell)

    def forget(self) -> None:
        """Forget what was made, piece by piece: freeing thousands of objects in one go would hold up the music."""
        for made in (self._lanes, self._cells):
            while made:
                made.popitem()

    # -- the fast path --------------------------------------------------------------------------------------------

    def finished(self, table: Table, shared: frozenset[OutputChannel], banks: frozenset[OutputChannel]) -> Table:
        """Return the table of a source, with the path of each cell set."""
        rows: list[Sequence[Cell]] = list(table.rows)
        for channel in range(16):
            self._finish_notes(rows, channel, shared)
        for status in range(CONTROLLER, 0xF0):
            rows[status & 0x7F] = self._finished_others(status, rows[status & 0x7F], shared, banks)
        return Table(rows, acts=table.acts)

    def _finish_notes(self, rows: list[Sequence[Cell]], channel: int, shared: frozenset[OutputChannel]) -> None:
        ons, offs, presses = rows[0x10 + channel], rows[channel], rows[0x20 + channel]
        finished: dict[int, tuple[Cell, Cell, Cell]] = {}
        for keys in _alike(ons, offs, presses):
            lanes = (ons[keys[0]].lanes, offs[keys[0]].lanes, presses[keys[0]].lanes)
            if asks_for_switches(lanes):
                finished.update(dict.fromkeys(keys, _switched_notes(keys, *lanes, shared)))
            elif keys_are_alike(*lanes):  # most keys of most sources
                finished.update(dict.fromkeys(keys, self._finished_notes(keys[:1], *lanes, shared)))
            else:
                finished.update({key: self._finished_notes([key], *lanes, shared) for key in keys})
        by_key = [finished[key] for key in range(128)]
        rows[0x10 + channel], rows[channel], rows[0x20 + channel] = map(list, zip(*by_key, strict=True))

    def _finished_notes(
        self, keys: Sequence[int], on: Lanes, off: Lanes, press: Lanes, shared: frozenset[OutputChannel]
    ) -> tuple[Cell, Cell, Cell]:
        """Return the cells for note-ons, note-offs and key pressure."""
        path = path_of_notes(keys, on, off, press, shared)
        press_path = path_of_key_pressure(keys, path, on, press)
        on_cell = self._kept((on, path, "on"), Cell(on, path))
        return (
            on_cell,
            self._kept((on, off, path), Cell(off, path, ons=on_cell)),
            self._kept((on, press, path, press_path), Cell(press, press_path, ons=on_cell)),
        )

    def _finished_others(
        self, status: int, row: Sequence[Cell], shared: frozenset[OutputChannel], banks: frozenset[OutputChannel]
    ) -> list[Cell]:
        kind = status & 0xF0
        if kind != CONTROLLER and row.count(row[0]) == len(row):
            return self._finished_cells(kind, row[:1], shared, banks) * len(row)
        return self._finished_cells(kind, row, shared, banks)

    def _finished_cells(
        self, kind: int, row: Sequence[Cell], shared: frozenset[OutputChannel], banks: frozenset[OutputChannel]
    ) -> list[Cell]:
        all_lanes = [cell.lanes for cell in set(row)] if kind != CONTROLLER else None
        made: dict[tuple[int, int], Cell] = {}
        finished = []
        for first, cell in enumerate(row):
            lanes = cell.lanes
            sort = self._sort(kind, first, lanes)
            found = made.get((id(cell), sort))
            if found is None:
                is_switched = asks_for_switches([lanes])
                if sort == _WHOLE_WAY or (is_switched and not keeps_kind(kind, lanes)):
                    found = self._kept((lanes, GENERAL, kind), Cell(lanes))
                elif is_switched:
                    found = SwitchedCell(lanes, kind, SwitchedValues(lanes, all_lanes or [lanes], first, shared, banks))
                else:
                    path, merged = path_of_others(kind, first, lanes, banks), bends_meet(kind, lanes, shared)
                    found = self._kept((lanes, path, kind), Cell(lanes, path, merged=merged))
                made[id(cell), sort] = found
            finished.append(found)
        return finished

    def _sort(self, kind: int, first: int, lanes: Lanes) -> int:
        """Tell apart the first bytes under which one set of lanes may end differently."""
        if _KIND_NAMES.get(kind, first) in self._chased:
            return _WHOLE_WAY
        if kind != CONTROLLER:
            return 0
        outs = {lane.one[first] for lane in lanes}
        careful = first in CAREFUL or bool(outs & CAREFUL)
        return _WHOLE_WAY if careful else 2 if MODULATION in outs else 3


def _alike(*rows: Sequence[Cell]) -> Iterable[list[int]]:
    """Return the keys that have the same cells in all rows, together."""
    if all(row.count(row[0]) == len(row) for row in rows):  # most channels of most sources
        return [list(range(128))]
    alike: dict[tuple[Cell, ...], list[int]] = {}
    for key, cells in enumerate(zip(*rows, strict=True)):
        alike.setdefault(cells, []).append(key)
    return alike.values()


def _switched_notes(
    keys: Sequence[int], on: Lanes, off: Lanes, press: Lanes, shared: frozenset[OutputChannel]
) -> tuple[Cell, Cell, Cell]:
    if keeps_kind(NOTE_ON, on) and keeps_kind(NOTE_OFF, off) and keeps_kind(KEY_PRESSURE, press):
        return SwitchedNotes(keys, on, off, press, shared).cells()
    on_cell = Cell(on)
    return on_cell, Cell(off, ons=on_cell), Cell(press, ons=on_cell)


def _acts(node: AnyNode) -> bool:
    """Return whether a node, or one behind it, must see a message when it comes. Its table is complete by now."""
    return node.acts or (node.after is not None and node.after.acts)
