"""The tempo of a performance as it grows: what was stays, and the last tempo goes on until another begins."""

from __future__ import annotations

from bisect import bisect_right
from fractions import Fraction
from typing import Final

from rules.timing.delays import NANOSECONDS_PER_MS, Delay, nanoseconds

_NO_BEAT: Final = Fraction(0)
"""The length of a beat where none is needed: a constant, so that lengths of delays can be cached."""

_HALF: Final = Fraction(1, 2)


class GrowingTempoMap:
    """From which moment (ns) on a quarter note takes how long (ns, exact). The first tempo holds for all time before.

    Live, nobody knows what tempo comes, so a time that it gives holds only until the tempo changes.
    """

    __slots__ = ("_beats", "_starts")

    def __init__(self, beat: Fraction) -> None:
        self._starts = [0]
        self._beats = [beat]

    @property
    def beat(self) -> Fraction:
        """How long a quarter note takes now."""
        return self._beats[-1]

    def change(self, beat: Fraction, now: int) -> None:
        """Let quarter notes take `beat` from now on. Times never go backwards."""
        if now == self._starts[-1]:
            self._beats[-1] = beat
        else:
            self._starts.append(now)
            self._beats.append(beat)

    def later(self, now: int, delay: Delay) -> int:
        """The time of the milliseconds and then the quarter notes of a delay after `now`, rounded once, half up."""
        if not delay.beats:
            return now + nanoseconds(delay, _NO_BEAT)
        if now >= self._starts[-1]:  # as for all that comes: only what is pending began in an earlier tempo
            return now + nanoseconds(delay, self._beats[-1])
        at, left = now + delay.ms * NANOSECONDS_PER_MS, delay.beats
        place = max(bisect_right(self._starts, at) - 1, 0)
        while place < len(self._starts) - 1:
            beats = (self._starts[place + 1] - at) / self._beats[place]
            if beats >= left:
                break
            place += 1
            at, left = Fraction(self._starts[place]), left - beats
        return int(at + left * self._beats[place] + _HALF)

    def forget_before(self, time: int) -> None:
        """Forget all tempos that ended by a time (ns): no delay that is asked for began before."""
        over = bisect_right(self._starts, time) - 1
        if over > 0:
            del self._starts[:over], self._beats[:over]
