"""`delay`: adds to the delay of what passes, and sees to it that nothing overtakes on one channel (ruling 22)."""

from __future__ import annotations

from rules.midi.messages import SYSEX
from rules.program.lag import Queue
from rules.program.node import Node
from rules.program.tables import Evaluation
from rules.timing.delays import AT_ONCE, Delay

NO_CHANNEL = 16


class DelayNode(Node):
    """Remembers, per rule and channel, when the last message is due."""

    def __init__(self, delay: Delay) -> None:
        super().__init__()
        self.delay = delay

    @property
    def without_delay(self) -> Node:
        """Another way in. It is made anew each time, so that no node refers to itself and has to be collected."""
        return _Undelayed(self)

    def fresh(self) -> Queue:
        """Nothing is due."""
        return {}

    def take(self, walk: Evaluation, status: int, d1: int, d2: int) -> None:
        """Everything goes on, later."""
        self.enter(walk, status, d1, d2, self.delay)

    def enter(self, walk: Evaluation, status: int, d1: int, d2: int, delay: Delay) -> None:
        """Goes on after `delay`, but not before what is due already. An echo holds up nothing."""
        lag, way = walk.lag, walk.way
        queue = None if walk.copy else walk.memory(self)
        walk.wait(delay, queue, status & 0x0F if status < SYSEX else NO_CHANNEL)
        walk.follow(self.after, status, d1, d2)
        walk.lag, walk.way = lag, way

    def calm(self, memory: Queue) -> None:
        """Nothing is due any more."""
        memory.clear()


class _Undelayed(Node):
    """The way in while the step's `when` doesn't hold."""

    def __init__(self, delayed: DelayNode) -> None:
        super().__init__()
        self._delayed = delayed

    @property
    def main(self) -> Node:
        return self._delayed

    def take(self, walk: Evaluation, status: int, d1: int, d2: int) -> None:
        self._delayed.enter(walk, status, d1, d2, AT_ONCE)
