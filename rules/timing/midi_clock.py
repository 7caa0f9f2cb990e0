"""The tempo of a MIDI clock, and time for a performance that follows it.

A clock sends 24 messages a quarter note (MIDI 1.0 Detailed Specification 4.2.1, p. 30).
"""

from __future__ import annotations

from collections import deque
from fractions import Fraction
from typing import Final

from rules.timing.delays import NANOSECONDS_PER_MINUTE, NANOSECONDS_PER_MS, Delay, nanoseconds

CLOCKS_A_BEAT: Final = 24

SILENCE_NS: Final = 500 * NANOSECONDS_PER_MS
"""The silence after which a clock has stopped: it would run at 5 BPM."""

_NO_BEAT: Final = Fraction(0)
"""The length of a beat where none is needed: a constant, so that lengths of delays can be cached."""


_LONGEST_READ: Final = 8 * CLOCKS_A_BEAT
"""Clocks that are read at most. A sound server hands them out once a period, up to 21 ms late: a quarter note alone
would show 119.7 and 120.9 in turn for a steady 120."""

_BLUR_NS: Final = 25 * NANOSECONDS_PER_MS
"""How far from its expected time a steady clock message may come."""

_CHANGED: Final = CLOCKS_A_BEAT // 4
"""How many clock messages in a row must come further off before they count as another tempo."""


class ClockReading:
    """The tempo of one clock, averaged over its last eight quarter notes, or since its tempo changed.

    Averaged are the clocks at both ends, up to a quarter note at each, and the tempo is what lies between.
    """

    __slots__ = ("_off", "_times")

    def __init__(self) -> None:
        self._times: deque[int] = deque(maxlen=_LONGEST_READ)
        self._off = 0

    def tick(self, now: int) -> None:
        """Take in a clock message that arrives at a time (ns)."""
        times = self._times
        if times and now - times[-1] > SILENCE_NS:
            times.clear()
        if len(times) > _CHANGED and abs(now - self._expected()) > _BLUR_NS:
            self._off += 1
            if self._off == _CHANGED:
                self._off = 0
                self._times = times = deque(list(times)[1 - _CHANGED :], maxlen=_LONGEST_READ)
        else:
            self._off = 0
        times.append(now)

    def _expected(self) -> int:
        """Return when (ns) the next clock comes if the tempo stays, by all but the last quarter note."""
        many, first, last, between = _ends(list(self._times)[: -min(CLOCKS_A_BEAT, len(self._times) // 3)])
        ahead = 2 * (len(self._times) - between) - many + 1  # half clocks from the middle of the later end
        return (2 * last * between + (last - first) * ahead) // (2 * many * between)

    def beat(self, now: int) -> Fraction | None:
        """Return how long a quarter note takes (ns); None where no clock runs."""
        times = self._times
        if len(times) < 2 or now - times[-1] > SILENCE_NS or times[-1] == times[0]:
            return None
        many, first, last, between = _ends(list(times))
        return Fraction((last - first) * CLOCKS_A_BEAT, many * between)

    def bpm(self, now: int) -> float | None:
        """Quarter notes a minute; None where no clock runs."""
        beat = self.beat(now)
        return None if beat is None else float(NANOSECONDS_PER_MINUTE / beat)


def _ends(times: list[int]) -> tuple[int, int, int, int]:
    """Return how many clocks are averaged at each end, the sums of their times, and the clocks between the middles."""
    many = min(CLOCKS_A_BEAT, len(times) // 2)
    return many, sum(times[:many]), sum(times[-many:]), len(times) - many


class LiveTime:
    """Turns delays into nanoseconds: beats by the clock that runs, else by the one that ran last. Before any has run,
    and once the tempo of the rule files is another one, they decide."""

    __slots__ = ("_beat", "_bpm", "_readings")

    def __init__(self, bpm: float) -> None:
        self._readings: dict[int, ClockReading] = {}
        self._bpm = 0.0
        self.follow(bpm)

    def follow(self, bpm: float) -> None:
        """Use the tempo (quarter notes a minute) of the rule files from now on."""
        if bpm != self._bpm:
            self._bpm = bpm
            self._beat = Fraction(NANOSECONDS_PER_MINUTE) / Fraction(bpm)

    def tick(self, player: int, now: int) -> None:
        """Take in a clock message from a player."""
        reading = self._readings.get(player)
        if reading is None:
            reading = self._readings[player] = ClockReading()
            # of two clocks the one that is first in the rule files counts, whichever came first tonight
            self._readings = dict(sorted(self._readings.items()))
        reading.tick(now)
        if self.running(now) == player:
            self._beat = reading.beat(now) or self._beat  # it holds when the clock stops

    def running(self, now: int) -> int | None:
        """The player whose clock sets the tempo; None where no clock runs."""
        return next((player for player, reading in self._readings.items() if reading.beat(now) is not None), None)

    def beat(self, now: int) -> Fraction:
        """Return how long a quarter note takes (ns)."""
        for reading in self._readings.values():
            beat = reading.beat(now)
            if beat is not None:
                return beat
        return self._beat

    def bpm(self, now: int) -> float:
        """Quarter notes a minute."""
        return float(NANOSECONDS_PER_MINUTE / self.beat(now))

    def later(self, now: int, delay: Delay) -> int:
        """The time (ns) after a delay that begins now, half up."""
        return now + nanoseconds(delay, self.beat(now) if delay.beats else _NO_BEAT)
