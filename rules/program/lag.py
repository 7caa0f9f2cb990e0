"""How much later than it came a message goes out."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Final

from rules.timing.delays import AT_ONCE, Delay, Later

Queue = dict[tuple[int | str, int], int]
"""What a `delay` remembers: by rule and channel, when the latest message is due."""


@dataclass(frozen=True, slots=True)
class Place:
    """A message's place in a queue: under which name, and how late it came out of it."""

    queue: Queue
    name: tuple[int | str, int]
    delay: Delay
    extra: int


@dataclass(frozen=True, slots=True)
class Lag:
    """The delays on a message's way added up, and the time it was held so as to overtake nothing.

    Kept as a sum, and applied once to the time of arrival, so that no rounding adds up (ruling 29). `places` are those
    in the queues on its way.
    """

    delay: Delay = AT_ONCE
    extra: int = 0
    places: tuple[Place, ...] = ()

    def plus(self, delay: Delay) -> Lag:
        """This lag and one more delay."""
        return replace(self, delay=self.delay + delay)

    def queued(self, delay: Delay, queue: Queue, name: tuple[int | str, int], now: int, later: Later) -> Lag:
        """This lag and one more delay, behind a queue, for what came `now`: nothing of one name overtakes (ruling 22).

        What comes later need not wait for it before it has joined.
        """
        delayed = self.delay + delay
        due = later(now, delayed) + self.extra
        latest = max(due, queue.get(name, due))
        extra = self.extra + latest - due
        return Lag(delayed, extra, (*self.places, Place(queue, name, delayed, extra)))

    def anew(self, now: int, later: Later) -> Lag:
        """The same delays for what comes `now`, behind what is in the queues by then."""
        lag = NO_LAG
        for place in self.places:
            lag = replace(lag, delay=AT_ONCE).queued(place.delay, place.queue, place.name, now, later)
        return replace(lag, delay=self.delay) if self.delay != lag.delay else lag

    def due(self, now: int, later: Later) -> int:
        """When a message that came `now` goes out."""
        if self is NO_LAG:
            return now
        return later(now, self.delay) + self.extra

    def join(self, now: int, later: Later) -> None:
        """Tells the queues of a message that came `now` and goes out with this lag."""
        for place in self.places:
            due = later(now, place.delay) + place.extra
            if place.queue.get(place.name, due) <= due:
                place.queue[place.name] = due


NO_LAG: Final = Lag()
