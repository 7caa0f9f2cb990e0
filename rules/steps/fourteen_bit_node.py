"""Controllers of 14 bits: the coarse half acts at once, the fine half refines (ruling 21)."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from typing import ClassVar, Final

from rules.midi.controllers import SWITCH_ON
from rules.midi.messages import NOTE_ON
from rules.program.byte_tables import ALL, SECOND, gate_of
from rules.program.event import Event
from rules.program.node import LOW_VALUES, EvaluationContext, Node, NodeResult, WaitingContext
from rules.steps.crossing_node import ValueKey, forget_player, rises

_COARSE: Final = gate_of(range(32))
_FINE: Final = gate_of(range(32, 64))

Outputs = Callable[[int], list[tuple[int, int, int]]]
"""Given a value 0-16383: the messages it becomes, as status without channel and two data bytes."""

Tables = Callable[[Sequence[int]], list[tuple[int, bytes, bytes]]]
"""Given 128 values, one for each data byte: the messages they become, with tables in place of the two data bytes."""


@dataclass(slots=True)
class _Memory:
    """The coarse half, by player and status, and which values are up that make notes."""

    coarse: dict[tuple[int, int], int] = field(default_factory=dict)
    up: set[ValueKey] = field(default_factory=set)


class FourteenBitNode(Node):
    """Remembers the coarse half, by player and channel. Coarse controllers are 0-31, fine ones 32 higher."""

    acts: ClassVar[bool] = True

    def __init__(self, outputs: Outputs, tables: Tables) -> None:
        super().__init__()
        self._outputs = outputs
        self._tables = tables

    def fresh(self) -> _Memory:
        """No coarse half is known."""
        return _Memory()

    def results(self, status: int) -> list[NodeResult]:
        """Return the value with a fine half of 0 for the coarse one; for the fine one by each coarse half there may be.

        Notes are made of the coarse half alone, as it rises.
        """
        channel = status & 0x0F
        found = []
        for kind, one, two in self._tables(range(0, 1 << 14, 1 << 7)):
            result = NodeResult(kind | channel, one, two, feed_one=SECOND, gate_one=_COARSE)
            if kind == NOTE_ON:
                rising = gate_of(byte for byte in range(128) if two[byte] >= SWITCH_ON)
                result = result._replace(gate_two=rising, remembered=LOW_VALUES)
            found.append(result)
        fine: dict[tuple[int, tuple[int, bytes, bytes]], int] = {}
        for coarse in range(128):
            for output in enumerate(self._tables(range(coarse << 7, coarse + 1 << 7))):
                fine[output] = fine.get(output, 0) | 1 << coarse
        for (_, (kind, one, two)), remembered in fine.items():
            if kind != NOTE_ON:
                result = NodeResult(kind | channel, one, two, feed_one=SECOND, gate_one=_FINE)
                found.append(result._replace(remembered=remembered, of_pair=True))
        return found

    def may_follow(self, status: int, firsts: int, seconds: int) -> list[tuple[int, int, int]]:
        """Return the kinds of message that values become."""
        return [(kind | status & 0x0F, ALL, ALL) for kind in {kind for kind, _, _ in self._outputs(0)}]

    def take(self, memory: _Memory, event: Event, status: int, d1: int, d2: int, context: EvaluationContext) -> None:
        """Emit the whole value known by now, for either half; make notes of the coarse half alone."""
        value = context.once(
            (self.memory_key, "whole", status, d1, d2), lambda: self._whole(memory, event, status, d1, d2, context)
        )
        for kind, first, second in self._outputs(value):
            made = kind | status & 0x0F
            if kind != NOTE_ON or (d1 < 32 and rises(context, event, self.memory_key, memory.up, made, first, second)):
                context.emit(event, made, first, second)

    def _whole(self, memory: _Memory, event: Event, status: int, d1: int, d2: int, context: EvaluationContext) -> int:
        name = (event.player, status)
        if d1 >= 32:
            return memory.coarse.get(name, 0) << 7 | d2
        if not context.trying:
            memory.coarse[name] = d2
        return d2 << 7

    def forget(self, memory: _Memory, player: int, context: WaitingContext) -> None:
        """Forget the values of a lost source."""
        for name in [name for name in memory.coarse if name[0] == player]:
            del memory.coarse[name]
        forget_player(memory.up, player)
