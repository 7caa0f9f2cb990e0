"""Which outputs several holders can reach: only there does merging cost anything.

A holder is a source, an incoming channel and an incoming key. What goes through a node counts as shared: that is
never wrong, only slower, since a holder that is alone is not touched.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence

from rules.compiler.reach import behind_node, firsts_out, seconds_out
from rules.midi.controllers import BANK_LSB, BANK_MSB
from rules.midi.messages import CONTROLLER, NOTE_ON, PROGRAM, SYSEX
from rules.program.byte_tables import ALL, FIRST, NO_BYTE, gate_of, open_in
from rules.program.guards import ALWAYS, Guard, both
from rules.program.tables import Cell, Lane, OutputChannel, Table

Start = tuple[Table, int, int, int, Guard]
"""Messages at a table: their status, the gates of their data bytes, and how the switches stand for them."""


def _ways(starts: Iterable[Start]) -> Iterator[tuple[Lane, int]]:
    """Every lane that messages can come to, through nodes too, with its possible outgoing first bytes, as a gate."""
    seen: dict[tuple[Table, int, int, Guard], int] = {}
    waiting = list(starts)
    while waiting:
        table, status, firsts, seconds, guard = waiting.pop()
        new = firsts & ~seen.get((table, status, seconds, guard), 0)
        seen[table, status, seconds, guard] = seen.get((table, status, seconds, guard), 0) | new
        for lane, gate in _lanes(table, status, new):
            met = both(guard, lane.guard)
            if met and _takes(lane, status, seconds):
                outs = firsts_out(lane, gate, seconds)
                yield lane, outs
                waiting += _after(lane, gate, seconds, met)


def _takes(lane: Lane, status: int, seconds: int) -> bool:
    """Return whether a lane takes any of the second bytes that messages may have."""
    return seconds == ALL or status >= SYSEX or any(lane.gate[second] != NO_BYTE for second in open_in(seconds))


def _lanes(table: Table, status: int, firsts: int) -> Iterable[tuple[Lane, int]]:
    """The lanes of a row, each with the first bytes under which it stands."""
    row = table.rows[status & 0x7F]
    cells: dict[Cell, int] = {}
    if row.count(row[0]) == len(row):
        cells[row[0]] = firsts
    else:
        for first in open_in(firsts):
            cells[row[first]] = cells.get(row[first], 0) | 1 << first
    found: dict[Lane, int] = {}
    for cell, gate in cells.items():
        for lane in cell.lanes:
            found[lane] = found.get(lane, 0) | gate
    return found.items()


def _channels(starts: Iterable[Start]) -> set[OutputChannel]:
    """The (port, channel 0-15) that messages can come out on, with any setting of the switches."""
    return {(lane.target, lane.status & 0x0F) for lane, _ in _ways(starts) if lane.node is None and lane.status < SYSEX}


def shared_channels(tables: Sequence[Table]) -> frozenset[OutputChannel]:
    """The (port, channel 0-15) that two incoming channels, two sources, or two keys for one note can reach."""
    shared: set[OutputChannel] = set()
    owner: dict[OutputChannel, tuple[int, int]] = {}
    keys: dict[tuple[int, int, int], tuple[int, int, int]] = {}
    through_nodes: list[Start] = []
    for source, table in enumerate(tables):
        for row in range(0x80):
            for lane, gate in _lanes(table, row | 0x80, ALL):
                if lane.node is not None:
                    through_nodes += _after(lane, gate, ALL, lane.guard)
                    continue
                if lane.status >= SYSEX:
                    continue
                output = (lane.target, lane.status & 0x0F)
                if owner.setdefault(output, (source, row & 0x0F)) != (source, row & 0x0F):
                    shared.add(output)
                if output not in shared and not _keeps_apart(lane, source, row, gate, keys):
                    shared.add(output)
    return frozenset(shared | _channels(through_nodes))


def _after(lane: Lane, firsts: int, seconds: int, guard: Guard) -> list[Start]:
    """Return where incoming bytes (gates) go on behind the node of a lane, if it has one that leads on."""
    after = lane.node.main.after if lane.node is not None else None
    if after is None:
        return []
    outs = firsts_out(lane, firsts, seconds), seconds_out(lane, firsts, seconds)
    return [(after, *reached) for reached in behind_node(lane, *outs, guard)]


def _keeps_apart(
    lane: Lane, source: int, row: int, gate: int, keys: dict[tuple[int, int, int], tuple[int, int, int]]
) -> bool:
    """Return whether every key that a lane for note-ons makes comes from one incoming key."""
    if lane.status & 0xF0 != NOTE_ON:
        return True
    if lane.feed_one != FIRST:
        return False
    channel = lane.status & 0x0F
    return all(
        keys.setdefault((lane.target, channel, lane.one[first]), (source, row, first)) == (source, row, first)
        for first in open_in(gate)
    )


def shared_banks(tables: Sequence[Table]) -> frozenset[OutputChannel]:
    """The (port, channel 0-15) where bank selects and program changes of two sources can meet (ruling 16)."""
    sources: dict[OutputChannel, set[int]] = {}
    for source, table in enumerate(tables):
        for lane, outs in _ways((table, status, ALL, ALL, ALWAYS) for status in range(0x80, 0x100)):
            if lane.node is None and _is_bank(lane.status, outs):
                sources.setdefault((lane.target, lane.status & 0x0F), set()).add(source)
    return frozenset(output for output, reaching in sources.items() if len(reaching) > 1)


_BANKS = gate_of((BANK_MSB, BANK_LSB))


def _is_bank(status: int, firsts: int) -> bool:
    return status & 0xF0 == PROGRAM or (status & 0xF0 == CONTROLLER and bool(firsts & _BANKS))
