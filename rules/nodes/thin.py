"""`thin`: at most one value each so many milliseconds, and the last one always arrives (ruling 23)."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field, replace
from typing import TYPE_CHECKING, Any, Final

from rules.lanes import gate_of
from rules.messages import CONTROLLER, DATA_ENTRY, PARAMETER_SELECT, POLY_PRESSURE
from rules.nodes.base import Node
from rules.rest import is_at_rest, rest_message
from rules.tempo import Delay

if TYPE_CHECKING:
    from rules.walk import Origin, Walk

_UNTOUCHED: Final = {0, 32, *DATA_ENTRY, *PARAMETER_SELECT, *range(64, 70), *range(120, 128)}
THINNED: Final = gate_of(number for number in range(128) if number not in _UNTOUCHED)
"""The controllers that may be thinned."""

Name = tuple[int, int]


@dataclass(slots=True)
class _Flow:
    """One stream of values: when the last one went on, and what waits. A pair of 14 bits is one stream.

    `passed` is the walk that the last one went on in: by other rules, the same may come again.
    """

    last: int
    waiting: list[tuple[int, int, int]] = field(default_factory=list)
    origin: Origin | None = None
    fine_may_follow: bool = False
    passed: Walk | None = None

    def is_of(self, player: int, in_key: int) -> bool:
        """Whether what waits came from an in-key."""
        return self.origin is not None and (self.origin.player, self.origin.in_key) == (player, in_key)

    def waits_for(self, players: frozenset[int]) -> bool:
        """Whether something of these players waits."""
        return bool(self.waiting) and self.origin is not None and self.origin.player in players


class ThinNode(Node):
    """Remembers each stream by channel and controller, bend, pressure or key."""

    def __init__(self, pause: Delay) -> None:
        super().__init__()
        self._pause = pause

    def fresh(self) -> dict[Name, _Flow]:
        """Nothing flows."""
        return {}

    def take(self, walk: Walk, status: int, d1: int, d2: int) -> None:
        """Goes on when the pause is over, else waits and replaces what waited."""
        if walk.trying:
            walk.follow(self.after, status, d1, d2)
            return
        flows: dict[Name, _Flow] = walk.memory(self)
        name, half = _stream(status, d1)
        now = walk.due(walk.lag)
        flow = flows.get(name)
        if flow is not None and half == "fine" and flow.fine_may_follow and not flow.waiting:
            flow.fine_may_follow = False
            walk.follow(self.after, status, d1, d2)
        elif flow is None or (not flow.waiting and now >= walk.later(flow.last, self._pause)):
            flows[name] = _Flow(now, fine_may_follow=half == "coarse", passed=walk)
            walk.follow(self.after, status, d1, d2)
        else:
            ahead = walk.ahead(self.after, status, d1, d2)
            if flow.passed is walk and all(walk.has(emission) for emission in ahead):
                return
            if not flow.waiting:
                walk.wake_at(walk.later(flow.last, self._pause), self, name)
            keeps = half == "fine" and len(flow.waiting) and _stream(*flow.waiting[0][:2])[1] == "coarse"
            flow.waiting = [*flow.waiting[: 1 if keeps else 0], (status, d1, d2)]
            flow.origin = walk.origin()
            walk.promise(ahead)

    def wake(self, walk: Walk, name: Any) -> None:
        """The pause is over: what waits goes on."""
        flow: _Flow = walk.memory(self)[name]
        waiting, flow.waiting = flow.waiting, []
        flow.last = walk.now
        flow.fine_may_follow = len(waiting) == 1 and _stream(*waiting[0][:2])[1] == "coarse"
        for message in waiting:
            walk.follow(self.after, *message)

    def waiting(self, memory: dict[Name, _Flow], name: Any) -> tuple[Origin, list[tuple[int, int, int]]] | None:
        """What waits in a stream and where it came from."""
        flow = memory.get(name)
        return (flow.origin, flow.waiting) if flow is not None and flow.waiting and flow.origin is not None else None

    def waiting_at_rest(self, memory: dict[Name, _Flow], players: frozenset[int]) -> list[Any]:
        """The streams whose waiting value is 0, or the middle of a bend."""
        return [
            name
            for name, flow in memory.items()
            if flow.waits_for(players) and is_at_rest(bytes(flow.waiting[-1]), fully=True)
        ]

    def reword(self, memory: dict[Name, _Flow], reword: Callable[[int], int]) -> None:
        """What waits keeps the switch states of its arrival."""
        for flow in memory.values():
            if flow.origin is not None:
                flow.origin = replace(flow.origin, word=reword(flow.origin.word))

    def bring_to_rest(self, memory: dict[Name, _Flow], player: int, in_key: int) -> bool:
        """The last value of a stream is its value at rest."""
        waiting = [flow for flow in memory.values() if flow.waiting and flow.is_of(player, in_key)]
        for flow in waiting:
            status, d1, _ = flow.waiting[0]
            rest = rest_message((0, status, d1))
            flow.waiting = [(status, rest[1], rest[2] if len(rest) > 2 else 0)]
        return bool(waiting)

    def drop(self, memory: dict[Name, _Flow], players: frozenset[int]) -> None:
        """What waited is gone."""
        for flow in memory.values():
            if flow.waits_for(players):
                flow.waiting = []


def _stream(status: int, d1: int) -> tuple[Name, str]:
    """The stream that a message belongs to, and which half of a 14-bit pair it is."""
    if status & 0xF0 == CONTROLLER:
        if 0 < d1 < 32:
            return (status, d1), "coarse"
        if 32 < d1 < 64:
            return (status, d1 - 32), "fine"
        return (status, d1), "whole"
    return (status, d1 if status & 0xF0 == POLY_PRESSURE else 0), "whole"
