"""The tempo of a performance as it grows: what was stays, and the last tempo goes on until another begins.

When the tempo changes, all that is pending in beats is counted again, a thousand delays at once while nothing else can
go out. So delays that began in an earlier tempo are counted in whole numbers, of parts that fit into all tempos.
"""

from __future__ import annotations

from bisect import bisect_right
from fractions import Fraction
from math import lcm
from typing import Final, NamedTuple

from rules.timing.delays import NANOSECONDS_PER_MS, Delay, nanoseconds

_NO_BEAT: Final = Fraction(0)
"""The length of a beat where none is needed: a constant, so that lengths of delays can be cached."""


class _Parts(NamedTuple):
    """The beats of a map in whole numbers: there are `in_beat` parts in a quarter note.

    Of each tempo, `passed` is how many parts have passed as it begins, and `a_ns` how many pass in a nanosecond.
    """

    in_beat: int
    passed: list[int]
    a_ns: list[int]


class GrowingTempoMap:
    """From which moment (ns) on a quarter note takes how long (ns, exact). The first tempo holds for all time before.

    Live, nobody knows what tempo comes, so a time that it gives holds only until the tempo changes.
    """

    __slots__ = ("_beats", "_parts", "_starts")

    def __init__(self, beat: Fraction) -> None:
        self._starts = [0]
        self._beats = [beat]
        self._parts: _Parts | None = None
        """None until it is asked for, since the tempos have changed."""

    @property
    def beat(self) -> Fraction:
        """How long a quarter note takes now."""
        return self._beats[-1]

    def change(self, beat: Fraction, now: int) -> None:
        """Let quarter notes take `beat` from now on. Times never go backwards."""
        self._parts = None
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
        if self._parts is None:
            self._parts = self._counted()
        in_beat, passed, a_ns = self._parts
        starts, ms, beats = self._starts, delay.ms, delay.beats
        # All is exact: times are multiplied by `finer`, parts by `scale`, as fractions of them would need it.
        finer = ms.denominator
        scale = finer * beats.denominator
        at = now * finer + ms.numerator * NANOSECONDS_PER_MS
        place = max(bisect_right(starts, at // finer) - 1, 0)
        end = (passed[place] * finer + (at - starts[place] * finer) * a_ns[place]) * beats.denominator
        end += beats.numerator * in_beat * finer
        place = max(bisect_right(passed, end // scale) - 1, 0)
        left, rate = end - passed[place] * scale, a_ns[place] * scale
        return starts[place] + (2 * left + rate) // (2 * rate)

    def _counted(self) -> _Parts:
        """Count the beats in parts of which a whole number passes in each nanosecond, at all tempos."""
        in_beat = lcm(*(beat.numerator for beat in self._beats))
        a_ns = [in_beat // beat.numerator * beat.denominator for beat in self._beats]
        passed = [0]
        for place in range(1, len(self._starts)):
            passed.append(passed[-1] + (self._starts[place] - self._starts[place - 1]) * a_ns[place - 1])
        return _Parts(in_beat, passed, a_ns)

    def forget_before(self, time: int) -> None:
        """Forget all tempos that ended by a time (ns): no delay that is asked for began before."""
        over = bisect_right(self._starts, time) - 1
        if over > 0:
            self._parts = None
            del self._starts[:over], self._beats[:over]
