"""What `thin` holds back: values on their way to an output, until the pause is over (ruling 23).

Where a value goes is settled when it arrives. On its way it meets stations: gates, where it passes or waits in place of
the one that waited, and the delays that lie behind gates.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field
from typing import Final

from rules.program.lag import NO_LAG, Lag, Queue
from rules.program.sending import Sending
from rules.timing.delays import Delay, Later
from rules.timing.scheduler import Agenda

Stream = tuple[object, ...]
"""One stream of values at one `thin`: its place, status, and controller or key. A pair of 14 bits is one stream."""


class Passage:
    """One message before a `thin`: whatever is made of it behind passes or waits together."""

    __slots__ = ()


@dataclass(frozen=True, slots=True)
class Gate:
    """A `thin` on the way: the stream there, the pause, and whether the value is the fine half of a pair."""

    stream: Stream
    pause: Delay
    is_fine: bool
    passage: Passage

    def anew(self, passages: dict[Passage, Passage]) -> Gate:
        """The same gate for another message that takes the same way."""
        return Gate(self.stream, self.pause, self.is_fine, passages.setdefault(self.passage, Passage()))


@dataclass(frozen=True, slots=True)
class Wait:
    """A `delay` behind a gate: its queue, if it has one, and the name there."""

    delay: Delay
    queue: Queue | None
    name: tuple[int | str, int]

    def anew(self, passages: dict[Passage, Passage]) -> Wait:
        """The same for any message."""
        return self

    def after(self, lag: Lag, base: int, later: Later) -> Lag:
        """The lag of what comes out of it."""
        if self.queue is None:
            return lag.plus(self.delay)
        return lag.queued(self.delay, self.queue, self.name, base, later)


Station = Gate | Wait
Way = tuple[Station, ...]


@dataclass(slots=True, eq=False)
class Traveller:
    """A message on its way through stations: `lag` later than `base`, before the first station of `way`.

    A `twin` goes along with an identical message that was sent at once: it counts only if a gate makes it late.
    """

    sending: Sending
    origin: int
    base: int
    lag: Lag
    way: Way
    is_twin: bool = False


@dataclass(frozen=True, slots=True)
class Opening:
    """The end of a pause, for what waits at a gate."""

    stream: Stream
    origin: int


Entry = Sending | Traveller | Opening
"""What is on the agenda."""


@dataclass(slots=True, eq=False)
class _Flow:
    """One stream: when the last value went on, by which passage, and what waits."""

    last: int
    passing: Passage | None
    fine_may_follow: bool
    opens: int = 0
    origin: int = 0
    coarse: list[Traveller] = field(default_factory=list)
    fine: list[Traveller] = field(default_factory=list)

    def replace(self, traveller: Traveller, gate: Gate) -> None:
        """Lets a value wait in place of the one that waited; a new coarse half is not yet refined."""
        waiting = self.fine if gate.is_fine else self.coarse
        if not waiting or waiting[0].way[0].passage is not gate.passage:  # type: ignore[union-attr]
            waiting.clear()
            if not gate.is_fine:
                self.fine.clear()
                self.fine_may_follow = False
        waiting.append(traveller)


class Thins:
    """The gates of one engine."""

    def __init__(self, agenda: Agenda[Entry]) -> None:
        self._agenda: Final = agenda
        self._flows: dict[Stream, _Flow] = {}

    def passes(self, traveller: Traveller, gate: Gate, time: int, later: Later) -> bool:
        """Whether a traveller passes the gate before it; else it waits there."""
        flow = self._flows.get(gate.stream)
        if flow is None:
            self._flows[gate.stream] = _Flow(time, gate.passage, not gate.is_fine)
            return True
        if flow.passing is gate.passage:
            return True
        if gate.is_fine and flow.fine_may_follow:
            flow.passing, flow.fine_may_follow = gate.passage, False
            return True
        opens = later(flow.last, gate.pause)
        if time >= opens:
            flow.last, flow.passing, flow.fine_may_follow = time, gate.passage, not gate.is_fine
            return True
        self._keep(flow, traveller, gate, opens)
        return False

    def _keep(self, flow: _Flow, traveller: Traveller, gate: Gate, opens: int) -> None:
        is_first = not (flow.coarse or flow.fine)
        flow.replace(traveller, gate)
        origin = (flow.coarse or flow.fine)[0].origin
        if is_first:
            flow.opens, flow.origin = opens, origin
            self._agenda.add(opens, Opening(gate.stream, origin), origin)
        elif origin != flow.origin:
            flow.origin = origin
            self._agenda.put_back(flow.opens, Opening(gate.stream, origin), origin)

    def open(self, opening: Opening, now: int) -> list[Traveller]:
        """The pause is over: what waited goes on. An opening for what was replaced lets nothing out."""
        flow = self._flows[opening.stream]
        waiting = [*flow.coarse, *flow.fine]
        if not waiting or opening.origin != flow.origin:
            return []
        flow.last, flow.passing = now, None
        flow.fine_may_follow = bool(flow.coarse) and not flow.fine
        flow.coarse, flow.fine = [], []
        for traveller in waiting:
            traveller.base, traveller.lag, traveller.way = now, NO_LAG, traveller.way[1:]
        return waiting

    def leave(self, opening: Opening, wanted: Callable[[Sending], bool]) -> list[Sending]:
        """Takes out what waits of a sort. The opening has been taken off the agenda, and goes back for the rest."""
        flow = self._flows[opening.stream]
        if opening.origin != flow.origin:
            return []
        leaving = [each.sending for each in (*flow.coarse, *flow.fine) if wanted(each.sending)]
        flow.coarse = [each for each in flow.coarse if not wanted(each.sending)]
        flow.fine = [each for each in flow.fine if not wanted(each.sending)]
        if flow.coarse or flow.fine:
            self._agenda.put_back(flow.opens, opening, opening.origin)
        return leaving
