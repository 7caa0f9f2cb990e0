"""The tempo of a MIDI clock, and time for a performance that follows it.

A clock sends 24 messages a quarter note (MIDI 1.0 Detailed Specification 4.2.1, p. 30).
"""

from __future__ import annotations

from collections import deque
from fractions import Fraction
from typing import Final

from rules.timing.delays import NANOSECONDS_PER_MS, Delay, nanoseconds

CLOCKS_A_BEAT: Final = 24

SILENCE: Final = 500 * NANOSECONDS_PER_MS
"""A clock that is silent for so long (ns) has stopped: it would run at 5 beats a minute."""

_NO_BEAT: Final = Fraction(0)
"""How long a beat is where none is asked for: a constant, so that the length of a delay is found again."""

_NANOSECONDS_A_MINUTE: Final = 60_000 * NANOSECONDS_PER_MS


class ClockReading:
    """The tempo of one clock, averaged over its last quarter note, since single clocks come early and late."""

    __slots__ = ("_times",)

    def __init__(self) -> None:
        self._times: deque[int] = deque(maxlen=CLOCKS_A_BEAT + 1)

    def tick(self, now: int) -> None:
        """A clock message arrives at a time (ns)."""
        if self._times and now - self._times[-1] > SILENCE:
            self._times.clear()
        self._times.append(now)

    def beat(self, now: int) -> Fraction | None:
        """How long a quarter note takes (ns); None where no clock runs."""
        times = self._times
        if len(times) < 2 or now - times[-1] > SILENCE or times[-1] == times[0]:
            return None
        return Fraction((times[-1] - times[0]) * CLOCKS_A_BEAT, len(times) - 1)

    def bpm(self, now: int) -> float | None:
        """Quarter notes a minute; None where no clock runs."""
        beat = self.beat(now)
        return None if beat is None else float(_NANOSECONDS_A_MINUTE / beat)


class LiveTime:
    """Turns delays into nanoseconds: beats by the clock that runs, else by the tempo of the rule files."""

    __slots__ = ("_beat", "_readings")

    def __init__(self, bpm: float) -> None:
        self._readings: dict[int, ClockReading] = {}
        self.follow(bpm)

    def follow(self, bpm: float) -> None:
        """The tempo (quarter notes a minute) to keep where no clock runs."""
        self._beat = Fraction(_NANOSECONDS_A_MINUTE) / Fraction(bpm)

    def tick(self, player: int, now: int) -> None:
        """A clock message from a player."""
        reading = self._readings.get(player)
        if reading is None:
            reading = self._readings[player] = ClockReading()
            # of two clocks the one that is first in the rule files counts, whichever came first tonight
            self._readings = dict(sorted(self._readings.items()))
        reading.tick(now)

    def running(self, now: int) -> int | None:
        """The player whose clock sets the tempo; None where no clock runs."""
        return next((player for player, reading in self._readings.items() if reading.beat(now) is not None), None)

    def beat(self, now: int) -> Fraction:
        """How long a quarter note takes (ns)."""
        for reading in self._readings.values():
            beat = reading.beat(now)
            if beat is not None:
                return beat
        return self._beat

    def bpm(self, now: int) -> float:
        """Quarter notes a minute."""
        return float(_NANOSECONDS_A_MINUTE / self.beat(now))

    def later(self, now: int, delay: Delay) -> int:
        """The time (ns) after a delay that begins now, half up."""
        return now + nanoseconds(delay, self.beat(now) if delay.beats else _NO_BEAT)
