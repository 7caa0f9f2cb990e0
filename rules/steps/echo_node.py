"""`echo`: a note goes on at once and again, quieter and moved; every copy is a holder of its own (ruling 22)."""

from __future__ import annotations

from collections.abc import Callable

from rules.program.byte_tables import ALL
from rules.program.node import Node
from rules.program.tables import Evaluation
from rules.timing.delays import Delay

Copies = Callable[[int, int], list[tuple[int, int, int]]]


class EchoNode(Node):
    """Knows how far apart the copies are and how to make them from key and velocity."""

    def __init__(self, delay: Delay, copies: Copies) -> None:
        super().__init__()
        self._delay = delay
        self._copies = copies

    def may_follow(self, status: int, firsts: int, seconds: int) -> list[tuple[int, int]]:
        """Copies may have any key."""
        return [(status, ALL)]

    def take(self, walk: Evaluation, status: int, d1: int, d2: int) -> None:
        """The note itself, then its copies."""
        walk.follow(self.after, status, d1, d2)
        lag, copy = walk.lag, walk.copy
        for n, key, velocity in self._copies(d1, d2):
            walk.lag = lag.plus(self._delay.times(n))
            walk.copy = (*copy, *self.place, n)
            walk.follow(self.after, status, key, velocity)
        walk.lag, walk.copy = lag, copy
