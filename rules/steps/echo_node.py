"""The node of `echo`: a note goes on at once and again, quieter and moved (ruling 22)."""

from __future__ import annotations

from collections.abc import Callable, Mapping

from rules.program.byte_tables import ALL, NO_BYTE, gate_of, table_of
from rules.program.event import Event
from rules.program.node import EvaluationContext, Node, NodeResult
from rules.timing.delays import Delay

Copies = Callable[[int, int], list[tuple[int, int, int]]]
"""Given key and velocity: the copies as (number from 1, key, velocity)."""


class EchoNode(Node):
    """Knows how far apart the copies are, how many there may be, and how to make them from key and velocity."""

    def __init__(self, delay: Delay, times: int, copies: Copies) -> None:
        super().__init__()
        self._delays = [delay.times(n) for n in range(times + 1)]
        self._copies = copies

    def results(self, status: int) -> list[NodeResult]:
        """The note itself and its copies: whether one exists is up to its key and, apart from that, to its velocity."""
        found = [NodeResult(status)]
        by_key = [self._copies(key, 127) for key in range(128)]
        for number, delay in enumerate(self._delays[1:]):
            keys = {key: copies[number][1] for key, copies in enumerate(by_key) if len(copies) > number}
            if not keys:
                break
            by_velocity = [self._copies(next(iter(keys)), velocity) for velocity in range(128)]
            velocities = {at: copies[number][2] for at, copies in enumerate(by_velocity) if len(copies) > number}
            copy = NodeResult(status, _table(keys), _table(velocities), gate_one=gate_of(keys), after=delay)
            found.append(copy._replace(gate_two=gate_of(velocities)))
        return found

    def may_follow(self, status: int, firsts: int, seconds: int) -> list[tuple[int, int, int]]:
        """Copies may have any key."""
        return [(status, ALL, ALL)]

    def take(self, memory: None, event: Event, status: int, d1: int, d2: int, context: EvaluationContext) -> None:
        """Emit the note itself, then its copies, each as a holder of its own."""
        context.emit(event, status, d1, d2)
        for n, key, velocity in self._copies(d1, d2):
            context.emit(event, status, key, velocity, after=self._delays[n], copy=(*self.memory_key, n))


def _table(numbers: Mapping[int, int]) -> bytes:
    """A table of what some bytes become; nothing comes of the others."""
    return table_of(lambda number: numbers.get(number, NO_BYTE))
