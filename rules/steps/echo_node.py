"""The node of `echo`: a note goes on at once and again, quieter and moved (ruling 22)."""

from __future__ import annotations

from collections.abc import Callable

from rules.program.byte_tables import ALL
from rules.program.event import Event
from rules.program.node import EvaluationContext, Node
from rules.timing.delays import Delay

Copies = Callable[[int, int], list[tuple[int, int, int]]]
"""Given key and velocity: the copies as (number from 1, key, velocity)."""


class EchoNode(Node):
    """Knows how far apart the copies are, how many there may be, and how to make them from key and velocity."""

    def __init__(self, delay: Delay, times: int, copies: Copies) -> None:
        super().__init__()
        self._delays = [delay.times(n) for n in range(times + 1)]
        self._copies = copies

    def may_follow(self, status: int, firsts: int, seconds: int) -> list[tuple[int, int, int]]:
        """Copies may have any key."""
        return [(status, ALL, ALL)]

    def take(self, memory: None, event: Event, status: int, d1: int, d2: int, context: EvaluationContext) -> None:
        """Emit the note itself, then its copies, each as a holder of its own."""
        context.emit(event, status, d1, d2)
        for n, key, velocity in self._copies(d1, d2):
            context.emit(event, status, key, velocity, after=self._delays[n], copy=(*self.memory_key, n))
