"""Cells: the lanes under one status and first data byte, and whether the engine may take the fast path through them."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from typing import Final

from rules.midi.controllers import BANK_LSB, BANK_MSB, DATA_ENTRY, FIRST_MODE, MODULATION, PARAMETER_SELECT, PEDALS
from rules.midi.messages import CHANNEL_PRESSURE, CONTROLLER, KEY_PRESSURE, NOTE_OFF, NOTE_ON, PITCH_BEND, PROGRAM
from rules.program.byte_tables import ALL, IDENTITY, NO_BYTE, open_in
from rules.program.forms import Form
from rules.program.tables import GENERAL, HELD, NOTE, PASS, SHARED, AnyNode, Cell, Lane, OutputChannel, Table

Lanes = tuple[Lane, ...]

_CAREFUL: Final = {*PEDALS, BANK_MSB, BANK_LSB, *DATA_ENTRY, *PARAMETER_SELECT, *range(FIRST_MODE, 128)}
"""Controllers that holders of one channel must share with care; they never take the fast path."""

_KIND_NAMES: Final = {PROGRAM: "program", CHANNEL_PRESSURE: "channel-pressure", PITCH_BEND: "pitch-bend"}


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
        return self._kept(lanes, Cell(lanes))

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
            row = rows[status & 0x7F]
            made: dict[tuple[int, int], Cell] = {}
            finished = []
            for first, cell in enumerate(row):
                name = (id(cell), self._sort(status, first, cell.lanes))
                if name not in made:
                    made[name] = self._finished_other(status, first, cell.lanes, shared, banks)
                finished.append(made[name])
            rows[status & 0x7F] = finished
        return Table(rows, acts=table.acts)

    def _finish_notes(self, rows: list[Sequence[Cell]], channel: int, shared: frozenset[OutputChannel]) -> None:
        ons, offs, presses = rows[0x10 + channel], rows[channel], rows[0x20 + channel]
        new_ons, new_offs, new_presses = [], [], []
        made: dict[tuple[int, int, int], tuple[Cell, Cell, Cell]] = {}
        for first in range(128):
            cells = (ons[first], offs[first], presses[first])
            trio = made.get((id(cells[0]), id(cells[1]), id(cells[2])))
            if trio is None:
                trio = self._finished_notes(first, cells[0].lanes, cells[1].lanes, cells[2].lanes, shared)
                # Keys that nothing moves differ in nothing: most sources have the same cells for all of them.
                if all(lane.one is IDENTITY for cell in cells for lane in cell.lanes):
                    made[id(cells[0]), id(cells[1]), id(cells[2])] = trio
            new_ons.append(trio[0])
            new_offs.append(trio[1])
            new_presses.append(trio[2])
        rows[0x10 + channel], rows[channel], rows[0x20 + channel] = new_ons, new_offs, new_presses

    def _finished_notes(
        self, first: int, on: Lanes, off: Lanes, press: Lanes, shared: frozenset[OutputChannel]
    ) -> tuple[Cell, Cell, Cell]:
        """Return the cells of one key for note-ons, note-offs and key pressure."""
        simple = _notes_are_simple(on, off, press, first)
        merged = any((lane.target, lane.status & 0x0F) in shared for lane in on)
        path = GENERAL if not simple else SHARED if merged else NOTE
        on_cell = self._kept((on, path, "on"), Cell(on, path))
        follows = path == NOTE and bool(press) and _same_notes(on, press, KEY_PRESSURE, first)
        press_path = HELD if follows and _rests_simply(press) else GENERAL
        return (
            on_cell,
            self._kept((on, off, path), Cell(off, path, ons=on_cell)),
            self._kept((on, press, path, press_path), Cell(press, press_path, ons=on_cell)),
        )

    def _sort(self, status: int, first: int, lanes: Lanes) -> int:
        """Tell apart the first bytes under which one set of lanes may end differently."""
        if status & 0xF0 != CONTROLLER:
            return 0
        outs = {lane.one[first] for lane in lanes}
        careful = first in _CAREFUL or first in self._chased or bool(outs & _CAREFUL)
        return 1 if careful else 2 if MODULATION in outs else 3

    def _finished_other(
        self, status: int, first: int, lanes: Lanes, shared: frozenset[OutputChannel], banks: frozenset[OutputChannel]
    ) -> Cell:
        kind = status & 0xF0
        chased = _KIND_NAMES.get(kind, first) in self._chased
        simple = (
            not chased
            and self._sort(status, first, lanes) != 1
            and all(lane.plain and lane.status & 0xF0 == kind and NO_BYTE not in lane.gate[:128] for lane in lanes)
            and len({(lane.target, lane.status) for lane in lanes}) == len(lanes)
        )
        outputs = {(lane.target, lane.status & 0x0F) for lane in lanes}
        modulates = kind == CONTROLLER and any(lane.one[first] == MODULATION for lane in lanes)
        rests = bool(lanes) and (modulates or kind in (CHANNEL_PRESSURE, PITCH_BEND))
        if rests:
            simple = simple and _rests_simply(lanes)
        merged = kind == PITCH_BEND and bool(outputs & shared)
        if modulates:
            simple = simple and all(lane.one[first] == MODULATION for lane in lanes)
        if kind == PROGRAM:
            simple = simple and not outputs & banks
        path = GENERAL if not simple else HELD if rests else PASS
        return self._kept((lanes, path, kind), Cell(lanes, path, merged=merged))


def _acts(node: AnyNode) -> bool:
    """Return whether a node, or one behind it, must see a message when it comes. Its table is complete by now."""
    return node.acts or (node.after is not None and node.after.acts)


def _is_total(lane: Lane) -> bool:
    return NO_BYTE not in lane.gate[1:128]


def _notes_are_simple(on: Lanes, off: Lanes, press: Lanes, first: int) -> bool:
    """Return whether each note-on, at any velocity, goes to outputs of its own, and the note-off to the same ones."""
    return (
        all(lane.plain and lane.status & 0xF0 == NOTE_ON and lane.release is None and _is_total(lane) for lane in on)
        and all(lane.plain and NO_BYTE not in lane.gate[:128] for lane in off)
        and len({(lane.target, lane.status, lane.one[first]) for lane in on}) == len(on)
        and _same_notes(on, off, NOTE_OFF, first)
        and all(lane.plain for lane in press)
    )


def _same_notes(on: Lanes, other: Lanes, kind: int, first: int) -> bool:
    """Return whether the lanes of another kind lead to the same ports, channels and keys as those of the note-on."""
    return [(lane.target, lane.status & 0x0F, lane.one[first]) for lane in on] == [
        (lane.target, lane.status & 0x0F, lane.one[first]) for lane in other if lane.status & 0xF0 == kind
    ] and all(lane.status & 0xF0 == kind for lane in other)


def _rests_simply(lanes: Lanes) -> bool:
    """Return whether what comes in at rest, and only that, goes out at rest."""
    for lane in lanes:
        kind = lane.status & 0xF0
        if not lane.plain or NO_BYTE in lane.gate[:128]:
            return False
        if kind == PITCH_BEND:
            if lane.one is not IDENTITY or lane.two is not IDENTITY:
                return False
            continue
        values = lane.one if kind == CHANNEL_PRESSURE else lane.two
        if values[0] != 0 or 0 in values[1:128]:
            return False
    return True
