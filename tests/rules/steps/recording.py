"""A walk before one node: what the node sends on is noted, not followed."""

from __future__ import annotations

from fractions import Fraction
from typing import Any

from rules.engine.evaluation import Walk
from rules.program.lag import Lag
from rules.program.switch_states import Layout
from rules.program.tables import NOWHERE, AnyNode, Table
from rules.program.thinning import Way
from rules.timing.delays import Delay, Later


def ms(number: int) -> Delay:
    """A delay in milliseconds."""
    return Delay(ms=Fraction(number))


class Desk:
    """Stands for the engine: it keeps memories by place, and its time is in milliseconds."""

    now = 0

    def __init__(self, layout: Layout | None = None) -> None:
        self.layout = Layout({}) if layout is None else layout
        self.word = self.layout.start
        self._memories: dict[tuple[str | int, ...], Any] = {}

    @property
    def later(self) -> Later:
        """Milliseconds are whole."""
        return lambda now, delay: now + int(delay.ms)

    def memory(self, node: AnyNode) -> Any:
        """What a node remembers."""
        return self._memories.setdefault(node.place, node.fresh())

    def turned(self, walk: Walk, word: int) -> None:
        """A switch was turned."""
        self.word = walk.word = word


class Recorder(Walk):
    """A walk of one message to a node."""

    __slots__ = ("made", "waits")

    def __init__(self, desk: Desk, in_key: int = 0, player: int = 0, now: int = 0) -> None:
        super().__init__(desk, player, in_key, now, desk.word, b"", NOWHERE)
        self.made: list[bytes] = []
        self.waits: list[tuple[Lag, Way]] = []

    def follow(self, table: Table | None, status: int, d1: int, d2: int) -> None:
        """Notes one message."""
        self.made.append(self.written(status, d1, d2))
        self.waits.append((self.lag, self.way))


def taken(node: AnyNode, desk: Desk, *message: int, **settings: Any) -> list[bytes]:
    """What a node sends on of one message."""
    walk = Recorder(desk)
    for name, value in settings.items():
        setattr(walk, name, value)
    node.take(walk, message[0], message[1], message[2] if len(message) > 2 else 0)
    return walk.made
