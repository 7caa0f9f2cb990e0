"""A player: a stream of messages with a ledger of its own - a port live, a track in a file."""

from __future__ import annotations

from collections.abc import Iterable
from typing import Final, cast

from rules.engine.ledger import Ledger, Press, Rests
from rules.midi.messages import KEY_PRESSURE, NOTE_ON, PROGRAM
from rules.midi.neutral import OutputPlace
from rules.program.pipeline import Pipeline
from rules.program.tables import NOTE, NOWHERE, SWITCHED, Cell, in_key_of, output_channel_of

_NOTE_ONS: Final = in_key_of(NOTE_ON, 0)
"""The first in-key of notes."""
_VALUES: Final = in_key_of(KEY_PRESSURE, 0)
"""The first in-key of what isn't a note."""
_WIDE: Final = in_key_of(PROGRAM, 0)
"""The first in-key of what concerns a whole channel."""
_ALONE: Final = (NOTE, SWITCHED)
"""The paths that may not ask who else is at a place."""


class Player:
    """Its source, the source's cells in one list, its ledger, and the last values that `chase` may want (`known`).

    `past` says which of those came before the source was lost, and not since. `source` is the number of its source in
    the rules of now; `hand` what the outputs know it by, which stays (see `Holder`), and `first_holder` the name of the
    holder for in-key 0.
    """

    __slots__ = (
        "bends",
        "cells",
        "first_holder",
        "hand",
        "known",
        "ledger",
        "name",
        "number",
        "owed",
        "owed_until",
        "past",
        "plugged",
        "presses",
        "rests",
        "running",
        "source",
        "table",
    )

    def __init__(self, number: int, hand: int, name: str) -> None:
        self.number = number
        self.hand = hand
        self.first_holder = hand << 14
        self.name = name
        self.ledger = Ledger(number, hand)
        # The ledger's own dictionaries, which it never replaces: the fast path reads them at every message, and reaches
        # them from here with one step less.
        self.presses = cast(dict[int, list[Press] | Cell], self.ledger.presses)
        self.rests = cast(dict[int, Rests | Cell], self.ledger.rests)
        self.bends = self.ledger.bends
        self.running = False
        self.owed: dict[tuple[int, OutputPlace], int] = {}
        self.owed_until = 0
        self.known: dict[tuple[int | str, int], bytes] = {}
        self.past: set[tuple[int | str, int]] = set()
        self.plugged = False
        self.source = -1
        self.table = NOWHERE
        self.cells = NOWHERE.cells

    def plug(self, pipeline: Pipeline, held: frozenset[int], *, hands_meet: bool = False) -> None:
        """Connect the player with the tables of its source; a source that is gone leads nowhere.

        `held` are places where notes are held, though by these rules nobody shares their channels: what is played there
        takes the general path, past those who hold them. With `hands_meet`, another hand plays the same source, so that
        this holds for every place.
        """
        self.plugged = self.name in pipeline.sources
        self.source = pipeline.sources.index(self.name) if self.plugged else -1
        self.table = pipeline.tables[self.source] if self.plugged else NOWHERE
        self.ledger.table = self.table
        self.cells = self.table.open_cells if hands_meet else self.table.cells
        apart = [in_key for in_key in self.presses if in_key >= _VALUES]
        apart += [in_key for in_key in self.rests if in_key < _VALUES]
        if held:
            apart += self._meeting(held)
        if apart:
            self.cells = self._cells_apart(apart)

    def _meeting(self, held: frozenset[int]) -> list[int]:
        """Return the notes that take the fast path to a place where others are held."""
        channels = {output_channel_of(place) for place in held}
        found: list[int] = []
        for start in range(_NOTE_ONS, _VALUES, 128):
            row = self.cells[start : start + 128]
            lanes = [lane for cell in set(row) if cell.path in _ALONE for lane in cell.lanes]
            if channels.isdisjoint((lane.target, lane.status & 0x0F) for lane in lanes):
                continue  # as most do: they need not be looked at key by key
            for first, cell in enumerate(row):
                if cell.path in _ALONE and any(lane.straight and lane.places[first] in held for lane in cell.lanes):
                    found.append(start | first)
        return found

    def _cells_apart(self, in_keys: Iterable[int]) -> list[Cell]:
        """The cells, opened for values that have made notes by older rules, for notes that have made values, and for
        notes that meet others."""
        cells = list(self.cells)
        for in_key in in_keys:
            places = [in_key, in_key & ~_NOTE_ONS] if in_key < _VALUES else [in_key]
            for place in places if in_key < _WIDE else range(in_key, in_key + 128):
                cells[place] = Cell(cells[place].lanes, ons=cells[place].ons)
        return cells

    def owe_nothing(self) -> None:
        """Forget what is owed: all that is pending gets its turn again."""
        self.owed.clear()
        self.owed_until = 0

    def in_turn(self, in_key: int, place: OutputPlace, due: int, now: int) -> int:
        """Return when a value that is due may go out: not before what its in-key sent to the same place before it.

        A delay may have become shorter in between, by a switch or by other rules: a pedal must not come up before it
        went down (ruling 22).
        """
        if now >= self.owed_until:
            self.owed.clear()
        else:
            due = max(due, self.owed.get((in_key, place), due))
        if due > now:
            self.owed[in_key, place] = due
            self.owed_until = max(self.owed_until, due)
        return due
