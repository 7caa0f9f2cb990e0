"""The node of `delay`: adds to the delay of what passes, and names where nothing overtakes (ruling 22)."""

from __future__ import annotations

from rules.program.event import Event
from rules.program.node import EvaluationContext, Node, NodeResult
from rules.timing.delays import Delay


class DelayNode(Node):
    """Knows how long the delay is. The order is kept where messages are booked, when all else about them is known."""

    def __init__(self, delay: Delay) -> None:
        super().__init__()
        self._delay = delay

    @property
    def without_delay(self) -> Node:
        """Another way in. It is made again each time, so that no node refers to itself and has to be collected."""
        return _Undelayed(self)

    def results(self, status: int) -> list[NodeResult]:
        """Everything, later."""
        return [NodeResult(status, after=self._delay)]

    def take(self, memory: None, event: Event, status: int, d1: int, d2: int, context: EvaluationContext) -> None:
        """Pass everything on, later."""
        context.emit(event, status, d1, d2, after=self._delay, ordered=True)


class _Undelayed(Node):
    """The way in while the step's `when` doesn't hold: at once, but not before what is due already."""

    def __init__(self, delayed: DelayNode) -> None:
        super().__init__()
        self._delayed = delayed

    @property
    def main(self) -> Node:
        return self._delayed

    def take(self, memory: None, event: Event, status: int, d1: int, d2: int, context: EvaluationContext) -> None:
        context.emit(event, status, d1, d2, ordered=True)
