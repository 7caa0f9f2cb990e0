"""The frozen result of compiling a rule set: the tables of its sources, and what the engine must know beside them."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from rules.program.clock_orders import ClockOrder
from rules.program.guards import Guard
from rules.program.switch_states import Layout
from rules.program.tables import AnyNode, Table
from rules.timing.delays import AT_ONCE, Delay


@dataclass(frozen=True, slots=True)
class ChasedBranch:
    """A rule, or one zone of it, from one source: what `chase` sends when `guard` turns true."""

    source: int
    guard: Guard
    chase: tuple[int | str, ...]
    table: Table


@dataclass(frozen=True, slots=True)
class WrittenMessage:
    """A message of a list in the rule file, for a port number, `after` the list begins."""

    target: int
    message: bytes
    after: Delay = AT_ONCE


@dataclass(frozen=True, slots=True)
class SwitchAction:
    """Messages that go out, `effects` that the shell is asked for, and `orders` to our clock, when `guard` turns true.

    `initially` says whether the messages go out at the beginning as well, where it is true then. `tempo` (BPM) is set
    then, too.
    """

    guard: Guard
    messages: tuple[WrittenMessage, ...]
    effects: tuple[str, ...] = ()
    initially: bool = True
    tempo: float | None = None
    orders: tuple[ClockOrder, ...] = ()


@dataclass(frozen=True, slots=True)
class Pipeline:
    """A compiled rule set.

    `ports` are the output ports by number; the numbers of a pipeline that replaces another stay the same, and `present`
    are those that exist now, in file order. `sources` are the input ports by number, `tables` theirs, `clocks` the
    ports that get each one's transport, `arrivals` what becomes of a message before its rules (None: nothing),
    `match_tables` say by their lanes which of `rules` it fits, `loss_tables` why it comes to nothing.
    `held_by` says by which source a switch is held, `setups` what devices want at the start. `shared` are the (port,
    channel 0-15) that two holders can reach, `banks` those where bank selects of two sources can meet. `din` are the
    output ports at the end of a 5-pin cable.
    """

    ports: tuple[str, ...]
    present: tuple[int, ...]
    sources: tuple[str, ...]
    tables: tuple[Table, ...]
    match_tables: Sequence[Table]
    loss_tables: Sequence[Table]
    layout: Layout
    rules: tuple[str, ...]
    nodes: Mapping[tuple[str | int, ...], AnyNode]
    branches: tuple[ChasedBranch, ...]
    arrivals: tuple[Table | None, ...]
    actions: tuple[SwitchAction, ...]
    held_by: Mapping[str, int]
    clocks: tuple[tuple[int, ...], ...]
    setups: tuple[WrittenMessage, ...]
    shared: frozenset[tuple[int, int]]
    banks: frozenset[tuple[int, int]]
    din: frozenset[int]
