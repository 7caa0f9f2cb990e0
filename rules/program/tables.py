"""Tables of cells of lanes: what becomes of a message, found by its status and first data byte.

A *cell* holds the lanes for one status and first data byte; equal cells are one object. A *table* finds them. A *lane*
leads to a port, or to a node, behind which a table follows again.

The *in-key* of a message is its cell's index in the list of all cells, and so the name of an incoming note, controller
or channel-wide kind. The *place* of an output note is a number as well: port << 11 | channel << 7 | key. Numbers are
found faster than tuples.
"""

from __future__ import annotations

from collections.abc import Sequence
from functools import lru_cache
from typing import Any, ClassVar, Final, Protocol

from rules.midi.messages import LENGTH, NOTE_ON, PROGRAM, SYSEX
from rules.program.byte_tables import ALL, FIRST, IDENTITY, SECOND, closed
from rules.program.guards import ALWAYS, Guard

NodeKey = tuple[str | int, ...]
"""Where a node stands in the rule file: the name of its rule or port, and the number of its step."""

# How the engine may answer the messages of a cell. Only GENERAL is open where a lane is not plain or total, or where
# two can meet at one place.
GENERAL: Final = 0
"""By evaluation and bookkeeping, which is always right."""

NOTE: Final = 1
"""The fast path for a note whose note-off by itself follows its note-on."""

PASS: Final = 2
"""The fast path for what leaves no trace."""

HELD: Final = 3
"""The fast path for a value that is held until it comes to rest."""

SHARED: Final = 4
"""The fast path for a note where other holders can reach."""

SWITCHED: Final = 5
"""By the cell for the states of the switches: see `SwitchedCell`."""

_ALONE: Final = (NOTE, HELD, SWITCHED)
"""The paths that don't ask, or may not ask, who else is at a place."""


OutputChannel = tuple[int, int]
"""An output port by number, and a channel 0-15 of it."""

_SYSTEM: Final = (SYSEX & 0x7F) << 7
"""The first in-key of system messages."""

IN_KEYS: Final[tuple[Any, ...]] = tuple(range(0x4000))
"""Every in-key as an object, for dictionaries that are asked at every message: compiled code need not make one."""


def in_key_of(status: int, d1: int) -> int:
    """Return the in-key of a message: (status - 80) * 128, plus its first byte if the status is below C0.

    Note-offs have the in-key of their note-on.
    """
    if status < NOTE_ON:
        status |= 0x10
    return (status & 0x7F) << 7 | (d1 if status < PROGRAM else 0)


def in_channel_of(in_key: int) -> int:
    """Return the incoming channel 0-15 of an in-key.

    What clock and transport send counts as channel 1's, where it goes unless a step says otherwise.
    """
    return in_key >> 7 & 0x0F if in_key < _SYSTEM else 0


def note_place(target: int, channel: int, key: int) -> int:
    """Return the place of an output note: port, channel 0-15 (of a status byte too), key."""
    return target << 11 | (channel & 0x0F) << 7 | key


def output_channel_of(place: int) -> OutputChannel:
    """Return the port and channel 0-15 of an output note's place."""
    return place >> 11, place >> 7 & 0x0F


class AnyNode(Protocol):
    """What tables and engine know of a node: `rules/program/node.py` has the base of all, and says what these mean."""

    memory_key: NodeKey
    key: NodeKey
    after: Table | None
    leads_on: ClassVar[bool]
    keeps_word: ClassVar[bool]
    acts: ClassVar[bool]
    waits: ClassVar[bool]
    thins: ClassVar[bool]

    @property
    def main(self) -> AnyNode: ...  # noqa: D102
    def fresh(self) -> Any: ...  # noqa: D102
    def take(self, memory: Any, event: Any, status: int, d1: int, d2: int, context: Any) -> None: ...  # noqa: D102
    def woken(self, memory: Any, key: Any, context: Any) -> None: ...  # noqa: D102
    def forget(self, memory: Any, player: int, context: Any) -> None: ...  # noqa: D102
    def silenced(self, memory: Any, context: Any) -> None: ...  # noqa: D102
    def replaced(self, memory: Any, successor: Any, context: Any) -> None: ...  # noqa: D102
    def turned(self, memory: Any, word: int, context: Any) -> None: ...  # noqa: D102
    def close(self, memory: Any, context: Any) -> None: ...  # noqa: D102
    def results(self, status: int) -> list[Any]: ...  # noqa: D102
    def may_follow(self, status: int, firsts: int, seconds: int) -> list[tuple[int, int, int]]: ...  # noqa: D102


@lru_cache(maxsize=128)
def _each_head(status: int) -> tuple[bytes, ...]:
    return (*(bytes((status, value)) for value in range(128)), *(b"",) * 128)


@lru_cache(maxsize=4096)
def _heads(status: int, table: bytes) -> tuple[bytes, ...]:
    return tuple(map(_each_head(status).__getitem__, table[:128]))


_EACH_TAIL: Final = (*(bytes((value,)) for value in range(128)), *(b"",) * 128)
_NO_TAILS: Final = (b"",) * 128


@lru_cache(maxsize=4096)
def _tails(table: bytes) -> tuple[bytes, ...]:
    return tuple(map(_EACH_TAIL.__getitem__, table[:128]))


@lru_cache(maxsize=1024)
def _each_place(target: int, status: int) -> tuple[int, ...]:
    first = note_place(target, status, 0)
    return tuple(range(first, first + 256))


@lru_cache(maxsize=4096)
def _places(target: int, status: int, table: bytes) -> tuple[int, ...]:
    return tuple(map(_each_place(target, status).__getitem__, table[:128]))


class Lane:
    """One way out of a cell: status and tables for the data bytes, to a port (`target`) or a node.

    In its cell the first incoming byte is fixed and fits, so only `gate[d2]` is tested (NO_BYTE: not here). A lane is
    `straight` if it leads to a port and its bytes keep their order, and `plain` if it asks for no switch besides.
    `heads` and `tails` are the outgoing bytes ready made for straight lanes.
    """

    __slots__ = (
        "feed_one",
        "feed_two",
        "gate",
        "guard",
        "heads",
        "node",
        "one",
        "places",
        "plain",
        "release",
        "rule",
        "short",
        "status",
        "straight",
        "tails",
        "target",
        "turns",
        "two",
    )

    def __init__(
        self,
        status: int,
        *,
        one: bytes = IDENTITY,
        two: bytes = IDENTITY,
        feed_one: int = FIRST,
        feed_two: int = SECOND,
        gate_two: int = ALL,
        guard: Guard = ALWAYS,
        release: bytes | None = None,
        node: AnyNode | None = None,
        target: int = -1,
        rule: str = "",
    ) -> None:
        self.status: Final = status
        self.one: Final = one
        self.two: Final = two
        self.feed_one: Final = feed_one
        self.feed_two: Final = feed_two
        self.gate: Final = closed(IDENTITY, gate_two)
        self.guard: Final = guard
        self.release: Final = release
        self.node: Final = node
        self.target: Final = target
        self.turns: Final = node is not None and not node.leads_on
        self.rule: Final = rule
        self.short: Final = status < SYSEX and LENGTH[status] == 2
        self.straight: Final = node is None and feed_one == FIRST and feed_two == SECOND and status < SYSEX
        self.plain: Final = self.straight and guard == ALWAYS
        self.heads: tuple[bytes, ...] = ()
        self.tails: tuple[bytes, ...] = ()
        self.places: tuple[int, ...] = ()
        if self.straight:
            self.places = _places(target, status, one)
            self.heads = _heads(status, one)
            self.tails = _NO_TAILS if self.short else _tails(closed(two, gate_two))

    def first(self, d1: int, d2: int) -> int:
        """The outgoing first data byte."""
        return self.one[d1 if self.feed_one == FIRST else d2]

    def second(self, d1: int, d2: int) -> int:
        """The outgoing second data byte."""
        return self.two[d1 if self.feed_two == FIRST else d2]

    def message(self, d1: int, d2: int) -> bytes:
        """The outgoing bytes."""
        if self.short:
            return bytes((self.status, self.first(d1, d2)))
        return bytes((self.status, self.first(d1, d2), self.second(d1, d2)))


class Cell:
    """The lanes for one status and first data byte.

    `path` says how the engine may answer. `ons` is, for a note-off or key pressure, the cell of its note-on (no cell
    refers to itself: it would have to wait for the garbage collector). `merged`: other holders can bend the same
    channels. `word`: the states of the switches that its lanes are open for, as far as any of its lanes asks for them.
    """

    __slots__ = ("lanes", "merged", "ons", "path", "word")

    def __init__(
        self,
        lanes: tuple[Lane, ...],
        path: int = GENERAL,
        *,
        merged: bool = False,
        ons: Cell | None = None,
        word: int = 0,
    ) -> None:
        self.lanes: Final = lanes
        self.path: Final = path
        self.merged: Final = merged
        self.ons: Final = ons
        self.word: Final = word

    def at(self, word: int) -> Cell:
        """The cell for a word of switch states: this one, unless its lanes ask for them."""
        return self


class CellsByStates(Protocol):
    """Makes the cells that stand for a switched one, each for some states of the switches."""

    @property
    def mask(self) -> int:
        """The bits of the word of switch states that any of the lanes asks for."""
        ...

    def cell(self, kind: int, word: int) -> Cell:
        """The cell for messages of a kind (80 to E0) and a masked word."""
        ...


class SwitchedCell(Cell):
    """A cell with lanes that ask for the states of switches.

    For each states it has a cell with the lanes that are open, which may take the fast path where this one can't. That
    is made when a message first asks for it: a setlist has hundreds of states, and an evening sees few of them.
    """

    __slots__ = ("_by_word", "cells", "kind")

    def __init__(self, lanes: tuple[Lane, ...], kind: int, cells: CellsByStates) -> None:
        super().__init__(lanes, SWITCHED)
        self.kind: Final = kind
        self.cells: Final = cells
        self._by_word: Final[dict[int, Cell]] = {}

    def at(self, word: int) -> Cell:
        """The cell with the lanes that are open."""
        states = word & self.cells.mask
        cell = self._by_word.get(states)
        if cell is None:
            cell = self._by_word[states] = self.cells.cell(self.kind, states)
        return cell


Row = Sequence[Cell]


class Table:
    """128 rows, for the statuses 80-FF, of 128 cells each; a system status has the same cell throughout.

    `acts` says whether, here or behind its nodes, anything must see a message when it comes: what makes notes of
    values, fires, turns, or learns.
    """

    __slots__ = ("_cells", "_open_cells", "acts", "rows")

    def __init__(self, rows: Sequence[Row], *, acts: bool = True) -> None:
        self.rows: Final = rows
        self.acts: Final = acts
        self._cells: list[Cell] = []
        self._open_cells: list[Cell] = []

    @property
    def open_cells(self) -> list[Cell]:
        """The cells, opened to the general path wherever they don't ask who else is at an output.

        Where two hands play a source, each asks. Their rows share a few cells, so that few are made; it takes some
        milliseconds the first time.
        """
        if not self._open_cells:
            opened = {cell: Cell(cell.lanes, ons=cell.ons) for cell in set(self.cells) if cell.path in _ALONE}
            self._open_cells = [opened.get(cell, cell) for cell in self.cells]
        return self._open_cells

    @property
    def cells(self) -> list[Cell]:
        """All rows in one list: the cell of a message is at (status - 80) * 128 + first byte."""
        if not self._cells:
            self._cells = [cell for row in self.rows for cell in row]
        return self._cells


NOWHERE: Final = Table([[Cell(())] * 128] * 128)
"""The table of a source that no rules know."""
