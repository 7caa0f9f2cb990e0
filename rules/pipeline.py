"""The frozen result of compiling: cells of lanes, found by status and first data byte.

A *cell* holds the lanes for one status and first data byte; equal cells are one object. A *table* finds them.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Final

from rules.guards import Guard
from rules.lanes import Lane
from rules.nodes.base import Node
from rules.switches import Layout

# How the engine may answer the messages of a cell. The short ways are open where every lane is plain and total, and no
# two can meet at one place.
WHOLE: Final = 0
"""By walk and books, which is always right."""

NOTE: Final = 1
"""A short way for a note whose note-off by itself follows its note-on."""

PASS: Final = 2
"""A short way for what leaves no trace."""

HELD: Final = 3
"""A short way for a value that is held until it comes to rest."""

SHARED: Final = 4
"""A short way for a note where other holders can reach."""


class Cell:
    """The lanes for one status and first data byte.

    `way` says how the engine may answer. `ons` is, for a note-off or poly pressure, the cell of its note-on (no cell
    refers to itself: it would have to wait for the garbage collector). `merged`: other holders can bend the same
    channels.
    """

    __slots__ = ("lanes", "merged", "ons", "way")

    def __init__(
        self, lanes: tuple[Lane, ...], way: int = WHOLE, *, merged: bool = False, ons: Cell | None = None
    ) -> None:
        self.lanes: Final = lanes
        self.way: Final = way
        self.merged: Final = merged
        self.ons: Final = ons


Row = Sequence[Cell]


class Table:
    """128 rows, for the statuses 80-FF, of 128 cells each; a system status has the same cell throughout."""

    __slots__ = ("_cells", "rows")

    def __init__(self, rows: Sequence[Row]) -> None:
        self.rows: Final = rows
        self._cells: list[Cell] = []

    @property
    def cells(self) -> list[Cell]:
        """All rows in one list: the cell of a message is at (status - 80) * 128 + first byte."""
        if not self._cells:
            self._cells = [cell for row in self.rows for cell in row]
        return self._cells


NOWHERE: Final = Table([[Cell(())] * 128] * 128)
"""The table of a source that no rules know."""


@dataclass(frozen=True, slots=True)
class Branch:
    """A rule, or one zone of it, from one source: what `catch_up` sends when `guard` turns true."""

    source: int
    guard: Guard
    catch_up: tuple[int | str, ...]
    table: Table


@dataclass(frozen=True, slots=True)
class SwitchSend:
    """Messages (port number, bytes) that go out when `guard` turns true."""

    guard: Guard
    messages: tuple[tuple[int, bytes], ...]


@dataclass(frozen=True, slots=True)
class Pipeline:
    """A compiled rule set.

    `ports` are the output ports by number; the numbers of a pipeline that replaces another stay the same, and `present`
    are those that exist now, in file order. `sources` are the input ports by number, `tables` theirs, `clocks` the
    ports that get each one's transport, `arrivals` what becomes of a message before its rules (None: nothing),
    `takers` tables whose lanes say which of `rules` it fits. `held_by` says by which source a switch is held, `starts`
    what devices want at the start. `shared` are the (port, channel 0-15) that two holders can reach, `banks` those
    where bank selects of two sources can meet.
    """

    ports: tuple[str, ...]
    present: tuple[int, ...]
    sources: tuple[str, ...]
    tables: tuple[Table, ...]
    takers: Sequence[Table]
    layout: Layout
    rules: tuple[str, ...]
    nodes: Mapping[tuple[str | int, ...], Node]
    branches: tuple[Branch, ...]
    arrivals: tuple[Table | None, ...]
    sends: tuple[SwitchSend, ...]
    held_by: Mapping[str, int]
    clocks: tuple[tuple[int, ...], ...]
    starts: tuple[tuple[int, bytes], ...]
    shared: frozenset[tuple[int, int]]
    banks: frozenset[tuple[int, int]]
