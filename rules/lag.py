"""How much later than it came a message goes out."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Final

from rules.tempo import AT_ONCE, Delay, Later

Waits = tuple[tuple[dict[int, int], int], ...]
"""The queues (latest time due by channel) that a message stands in."""


@dataclass(frozen=True, slots=True)
class Lag:
    """The delays on a message's way added up, and the time it was held so as to overtake nothing.

    Kept as a sum, and applied once to the time of arrival, so that no rounding adds up (ruling 29).
    """

    delay: Delay = AT_ONCE
    extra: int = 0
    waits: Waits = ()

    def plus(self, delay: Delay) -> Lag:
        """This lag and one more delay."""
        return replace(self, delay=self.delay + delay)

    def held(self, extra: int) -> Lag:
        """This lag, held for a time (in the engine's unit) beyond its delays."""
        return replace(self, extra=self.extra + extra)

    def through(self, latest: dict[int, int], channel: int) -> Lag:
        """This lag, in a queue: what follows on the channel may not overtake."""
        return replace(self, waits=(*self.waits, (latest, channel)))

    def due(self, now: int, later: Later) -> int:
        """When a message that came `now` goes out."""
        if self is NO_LAG:
            return now
        return later(now, self.delay) + self.extra

    def note_due(self, due: int) -> None:
        """Tells the queues of a message that goes out at `due`."""
        for latest, channel in self.waits:
            if latest.get(channel, due) <= due:
                latest[channel] = due


NO_LAG: Final = Lag()
