"""Controllers of 14 bits: the coarse half acts at once, the fine half refines (ruling 21)."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field
from typing import ClassVar

from rules.midi.messages import NOTE_ON
from rules.program.byte_tables import ALL
from rules.program.event import Event
from rules.program.node import EvaluationContext, Node, WaitingContext
from rules.steps.crossing_node import ValueKey, forget_player, rises

Outputs = Callable[[int], list[tuple[int, int, int]]]
"""Given a value 0-16383: the messages it becomes, as status without channel and two data bytes."""


@dataclass(slots=True)
class _Memory:
    """The coarse half, by player and status, and which values are up that make notes."""

    coarse: dict[tuple[int, int], int] = field(default_factory=dict)
    up: set[ValueKey] = field(default_factory=set)


class FourteenBitNode(Node):
    """Remembers the coarse half, by player and channel. Coarse controllers are 0-31, fine ones 32 higher."""

    acts: ClassVar[bool] = True

    def __init__(self, outputs: Outputs) -> None:
        super().__init__()
        self._outputs = outputs

    def fresh(self) -> _Memory:
        """No coarse half is known."""
        return _Memory()

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
