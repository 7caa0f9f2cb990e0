"""Cells for the states of switches: of lanes that ask for them, those that are open, and the path through these."""

from __future__ import annotations

from collections.abc import Iterable, Sequence

from rules.compiler.fast_paths import Lanes, path_of_key_pressure, path_of_notes, path_of_others
from rules.midi.messages import KEY_PRESSURE, NOTE_OFF, NOTE_ON, PITCH_BEND
from rules.program.guards import ALWAYS, holds
from rules.program.tables import Cell, OutputChannel, SwitchedCell


def asks_for_switches(lanes: Iterable[Lanes]) -> bool:
    """Return whether any lane asks for the state of a switch."""
    return any(lane.guard != ALWAYS for some in lanes for lane in some)


def keeps_kind(kind: int, lanes: Lanes) -> bool:
    """Return whether lanes lead to ports, and messages stay of their kind, whatever the switches are at.

    Else lanes that are open could make something that has to be ended while they are closed: a note of a value.
    """
    return all(lane.straight and lane.status & 0xF0 == kind for lane in lanes)


def _mask(lanes: Iterable[Lanes]) -> int:
    """The bits of the word of switch states that any of the lanes asks for."""
    mask = 0
    for some in lanes:
        for lane in some:
            for cube, _ in lane.guard:
                mask |= cube
    return mask


def _open(lanes: Lanes, word: int) -> Lanes:
    return tuple(lane for lane in lanes if holds(lane.guard, word))


class SwitchedNotes:
    """The cells of all `keys` of a channel that have the same lanes for note-ons, note-offs and key pressure."""

    def __init__(
        self, keys: Sequence[int], on: Lanes, off: Lanes, press: Lanes, shared: frozenset[OutputChannel]
    ) -> None:
        self.mask = _mask((on, off, press))
        self._keys = keys
        self._lanes = (on, off, press)
        self._shared = shared
        self._made: dict[int, dict[int, Cell]] = {}

    def cells(self) -> tuple[Cell, Cell, Cell]:
        """The switched cells for note-ons, note-offs and key pressure."""
        on, off, press = self._lanes
        return (
            SwitchedCell(on, NOTE_ON, self),
            SwitchedCell(off, NOTE_OFF, self),
            SwitchedCell(press, KEY_PRESSURE, self),
        )

    def cell(self, kind: int, word: int) -> Cell:
        """The cell of one kind. The three know each other, and so are made at once."""
        if word not in self._made:
            on, off, press = (_open(lanes, word) for lanes in self._lanes)
            path = path_of_notes(self._keys, on, off, press, self._shared)
            on_cell = Cell(on, path, word=word)
            self._made[word] = {
                NOTE_ON: on_cell,
                NOTE_OFF: Cell(off, path, ons=on_cell, word=word),
                KEY_PRESSURE: Cell(press, path_of_key_pressure(self._keys, path, on, press), ons=on_cell, word=word),
            }
        return self._made[word][kind]


class SwitchedValues:
    """The cells of a controller, or of programs, channel pressure or bends on one channel.

    `row` are all lanes that could take what comes to rest later: a bend ends with other bytes than it began.
    """

    def __init__(
        self,
        lanes: Lanes,
        row: Iterable[Lanes],
        first: int,
        shared: frozenset[OutputChannel],
        banks: frozenset[OutputChannel],
    ) -> None:
        self.mask = _mask(row)
        self._lanes = lanes
        self._first = first
        self._shared = shared
        self._banks = banks

    def cell(self, kind: int, word: int) -> Cell:
        """The cell for its messages."""
        lanes = _open(self._lanes, word)
        return Cell(
            lanes,
            path_of_others(kind, self._first, lanes, self._banks),
            merged=bends_meet(kind, lanes, self._shared),
            word=word,
        )


def bends_meet(kind: int, lanes: Lanes, shared: frozenset[OutputChannel]) -> bool:
    """Return whether lanes are for bends, on channels that other holders can bend."""
    return kind == PITCH_BEND and any((lane.target, lane.status & 0x0F) in shared for lane in lanes)
