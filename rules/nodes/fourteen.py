"""Controllers of 14 bits: the coarse half acts at once, the fine half refines (ruling 21)."""

from __future__ import annotations

from collections.abc import Callable
from typing import TYPE_CHECKING

from rules.lanes import ALL
from rules.nodes.base import Node

if TYPE_CHECKING:
    from rules.walk import Walk

Outputs = Callable[[int], list[tuple[int, int, int]]]
"""Given a value 0-16383: the messages it becomes, as status without channel and two data bytes."""


class FourteenBitNode(Node):
    """Remembers the coarse half, by player and channel. Coarse controllers are 0-31, fine ones 32 higher."""

    def __init__(self, outputs: Outputs) -> None:
        super().__init__()
        self._outputs = outputs

    def fresh(self) -> dict[tuple[int, int], int]:
        """No coarse half is known."""
        return {}

    def may_follow(self, status: int, firsts: int) -> list[tuple[int, int]]:
        """Whatever values become."""
        return [(kind | status & 0x0F, ALL) for kind in {kind for kind, _, _ in self._outputs(0)}]

    def take(self, walk: Walk, status: int, d1: int, d2: int) -> None:
        """Either half gives the whole value that is known by now."""
        name = (walk.player, status)
        coarse: dict[tuple[int, int], int] = walk.memory(self)
        if d1 < 32:
            if not walk.trying:
                coarse[name] = d2
            value = d2 << 7
        else:
            value = coarse.get(name, 0) << 7 | d2
        for kind, first, second in self._outputs(value):
            walk.follow(self.after, kind | status & 0x0F, first, second)

    def forget(self, memory: dict[tuple[int, int], int], player: int) -> None:
        """Nothing is known of a lost source."""
        for name in [name for name in memory if name[0] == player]:
            del memory[name]
