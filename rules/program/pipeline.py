"""The frozen result of compiling a rule set: the tables of its sources, and what the engine must know beside them."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from rules.program.guards import Guard
from rules.program.switch_states import Layout
from rules.program.tables import AnyNode, Table


@dataclass(frozen=True, slots=True)
class ChasedBranch:
    """A rule, or one zone of it, from one source: what `chase` sends when `guard` turns true."""

    source: int
    guard: Guard
    chase: tuple[int | str, ...]
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
    `takers` tables whose lanes say which of `rules` it fits, `losses` those that say why it comes to nothing.
    `held_by` says by which source a switch is held, `setups` what devices want at the start. `shared` are the (port,
    channel 0-15) that two holders can reach, `banks` those where bank selects of two sources can meet.
    """

    ports: tuple[str, ...]
    present: tuple[int, ...]
    sources: tuple[str, ...]
    tables: tuple[Table, ...]
    takers: Sequence[Table]
    losses: Sequence[Table]
    layout: Layout
    rules: tuple[str, ...]
    nodes: Mapping[tuple[str | int, ...], AnyNode]
    branches: tuple[ChasedBranch, ...]
    arrivals: tuple[Table | None, ...]
    sends: tuple[SwitchSend, ...]
    held_by: Mapping[str, int]
    clocks: tuple[tuple[int, ...], ...]
    setups: tuple[tuple[int, bytes], ...]
    shared: frozenset[tuple[int, int]]
    banks: frozenset[tuple[int, int]]
