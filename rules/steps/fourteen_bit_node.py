"""Controllers of 14 bits: the coarse half acts at once, the fine half refines (ruling 21)."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field

from rules.midi.messages import NOTE_ON
from rules.program.byte_tables import ALL
from rules.program.node import Node
from rules.program.tables import Evaluation
from rules.steps.crossing_node import Name, forget_player, rises

Outputs = Callable[[int], list[tuple[int, int, int]]]
"""Given a value 0-16383: the messages it becomes, as status without channel and two data bytes."""


@dataclass(slots=True)
class _Memory:
    """The coarse half, by player and status, and which values are up that make notes."""

    coarse: dict[tuple[int, int], int] = field(default_factory=dict)
    up: set[Name] = field(default_factory=set)


class FourteenBitNode(Node):
    """Remembers the coarse half, by player and channel. Coarse controllers are 0-31, fine ones 32 higher."""

    def __init__(self, outputs: Outputs) -> None:
        super().__init__()
        self._outputs = outputs

    def fresh(self) -> _Memory:
        """No coarse half is known."""
        return _Memory()

    def may_follow(self, status: int, firsts: int, seconds: int) -> list[tuple[int, int]]:
        """Whatever values become."""
        return [(kind | status & 0x0F, ALL) for kind in {kind for kind, _, _ in self._outputs(0)}]

    def take(self, walk: Evaluation, status: int, d1: int, d2: int) -> None:
        """Either half gives the whole value that is known by now; notes are made of the coarse half alone."""
        name = (walk.player, status)
        memory: _Memory = walk.memory(self)
        if d1 < 32:
            if not walk.trying:
                memory.coarse[name] = d2
            value = d2 << 7
        else:
            value = memory.coarse.get(name, 0) << 7 | d2
        for kind, first, second in self._outputs(value):
            made = kind | status & 0x0F
            if kind != NOTE_ON or (d1 < 32 and rises(walk, self.place, memory.up, made, first, second)):
                walk.follow(self.after, made, first, second)

    def forget(self, memory: _Memory, player: int) -> None:
        """Nothing is known of a lost source."""
        for name in [name for name in memory.coarse if name[0] == player]:
            del memory.coarse[name]
        forget_player(memory.up, player)
