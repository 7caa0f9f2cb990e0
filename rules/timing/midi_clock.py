"""The tempo of a MIDI clock, and which of several sets the tempo of a performance.

A clock sends 24 messages a quarter note (MIDI 1.0 Detailed Specification 4.2.1, p. 30).
"""

from __future__ import annotations

from collections import deque
from fractions import Fraction
from typing import Final

from rules.timing.delays import NANOSECONDS_PER_MINUTE, NANOSECONDS_PER_MS, Later
from rules.timing.tempo_map import GrowingTempoMap

CLOCKS_A_BEAT: Final = 24

SILENCE_NS: Final = 500 * NANOSECONDS_PER_MS
"""The silence after which a clock has stopped: it would run at 5 BPM."""

_LONGEST_READ: Final = 8 * CLOCKS_A_BEAT
"""Clocks that are read at most. A sound server hands them out once a period, up to 21 ms late: a quarter note alone
would show 119.7 and 120.9 in turn for a steady 120."""

BLUR_NS: Final = 25 * NANOSECONDS_PER_MS
"""How far from its expected time a steady clock message may come."""

_CHANGED: Final = CLOCKS_A_BEAT // 4
"""How many clock messages in a row must come further off before they count as another tempo."""

_READ_AT: Final = (_CHANGED, CLOCKS_A_BEAT // 2)
"""After how many clocks the tempo is read, before it is at each quarter note."""

_LEAST_CHANGE: Final = Fraction(1, 500)
"""By what part of it a tempo must change, so that what is pending in beats moves: less is the blur of clocks. Over a
quarter note at 120 BPM it makes 1 ms."""


class ClockReading:
    """The tempo of one clock, averaged over its last eight quarter notes, or since its tempo changed.

    Averaged are the clocks at both ends, up to a quarter note at each, and the tempo is what lies between.
    """

    __slots__ = ("_off", "_times", "clocks")

    def __init__(self) -> None:
        self._times: deque[int] = deque(maxlen=_LONGEST_READ)
        self._off = 0
        self.clocks = 0
        """Since it began, or its tempo changed."""

    def tick(self, now: int) -> None:
        """Take in a clock message that arrives at a time (ns)."""
        times = self._times
        if times and now - times[-1] > SILENCE_NS:
            times.clear()
            self.clocks = 0
        if len(times) > _CHANGED and abs(now - self._expected()) > BLUR_NS:
            self._off += 1
            if self._off == _CHANGED:
                self._off = 0
                self._times = times = deque(list(times)[1 - _CHANGED :], maxlen=_LONGEST_READ)
                self.clocks = len(times)
        else:
            self._off = 0
        times.append(now)
        self.clocks += 1

    @property
    def is_told(self) -> bool:
        """Whether enough clocks have come to tell a tempo by."""
        return self.clocks >= _CHANGED

    @property
    def is_at_reading(self) -> bool:
        """Whether the tempo is read at this clock: a quarter and half a quarter note after the clock began, or changed
        its tempo, then at each whole one."""
        return self.clocks in _READ_AT or self.clocks % CLOCKS_A_BEAT == 0

    @property
    def next_clock(self) -> int:
        """When (ns) the next clock comes if the tempo stays; only where that is told."""
        return self._expected()

    @property
    def interval(self) -> Fraction:
        """From one clock to the next (ns), by those that came; only where the tempo is told."""
        many, first, last, between = _ends(list(self._times))
        return Fraction(last - first, many * between)

    def _expected(self) -> int:
        """Return when (ns) the next clock comes if the tempo stays, by all but the last quarter note."""
        many, first, last, between = _ends(list(self._times)[: -min(CLOCKS_A_BEAT, len(self._times) // 3)])
        ahead = 2 * (len(self._times) - between) - many + 1  # half clocks from the middle of the later end
        return (2 * last * between + (last - first) * ahead) // (2 * many * between)

    def runs(self, now: int) -> bool:
        """Return whether the clock runs: two clocks came, at different times, and the last one lately."""
        times = self._times
        return len(times) >= 2 and now - times[-1] <= SILENCE_NS and times[-1] != times[0]

    def beat(self, now: int) -> Fraction | None:
        """Return how long a quarter note takes (ns); None where no clock runs."""
        if not self.runs(now):
            return None
        times = self._times
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
    """The tempo in force, and what delays in quarter notes (beats) come to by it (ruling 29).

    It is that of the clock that runs; of several, of the one that is first in the rule files. When it stops, its tempo
    stays. Our own tempo comes into force when it is set while no clock runs; `own_bpm` is what was set last.
    """

    __slots__ = ("_leader", "_map", "_readings", "later", "own_bpm")

    def __init__(self, bpm: float) -> None:
        self._readings: dict[int, ClockReading] = {}
        self._leader: int | None = None
        self._map = GrowingTempoMap(_beat_at(bpm))
        self.later: Final[Later] = self._map.later
        """The time (ns) after a delay, half up, as long as the tempo doesn't change."""
        self.own_bpm = bpm

    def set(self, bpm: float, now: int) -> bool:
        """Set our own tempo (quarter notes a minute); return whether the tempo in force has changed."""
        self.own_bpm = bpm
        return self.running(now) is None and self._change(_beat_at(bpm), now)

    def reading(self, player: int) -> ClockReading | None:
        """Return the reading of a player's clock; None where none has come."""
        return self._readings.get(player)

    def forget(self, player: int) -> None:
        """Forget the clock of a player: it has stopped, or doesn't count any more. The tempo stays."""
        self._readings.pop(player, None)
        if self._leader == player:
            self._leader = None

    def tick(self, player: int, now: int) -> bool:
        """Take in a clock message from a player; return whether the tempo in force has changed.

        The tempo of a clock is read when it takes over, and at each quarter note; small changes don't count.
        """
        reading = self._readings.get(player)
        if reading is None:
            reading = self._readings[player] = ClockReading()
            # of two clocks the one that is first in the rule files counts, whichever came first tonight
            self._readings = dict(sorted(self._readings.items()))
        reading.tick(now)
        if self.running(now) != player or not reading.is_told:
            return False
        if self._leader == player and not reading.is_at_reading:
            return False
        self._leader = player
        beat = reading.beat(now)
        assert beat is not None
        if abs(beat - self._map.beat) <= self._map.beat * _LEAST_CHANGE:
            return False
        return self._change(beat, now)

    def _change(self, beat: Fraction, now: int) -> bool:
        if beat == self._map.beat:
            return False
        self._map.change(beat, now)
        return True

    def running(self, now: int) -> int | None:
        """The player whose clock sets the tempo; None where no clock runs."""
        return next((player for player, reading in self._readings.items() if reading.runs(now)), None)

    @property
    def beat(self) -> Fraction:
        """How long a quarter note takes by the tempo in force (ns)."""
        return self._map.beat

    @property
    def bpm(self) -> float:
        """The tempo in force, in quarter notes a minute."""
        return float(NANOSECONDS_PER_MINUTE / self._map.beat)

    def forget_before(self, time: int) -> None:
        """Forget tempos that ended by a time (ns): no delay that is pending began before."""
        self._map.forget_before(time)


def _beat_at(bpm: float) -> Fraction:
    """How long a quarter note takes (ns)."""
    return Fraction(NANOSECONDS_PER_MINUTE) / Fraction(bpm)
