"""The tempos of a performance, and what quarter notes come to by them (ruling 29)."""

from __future__ import annotations

from dataclasses import dataclass, field
from fractions import Fraction
from itertools import pairwise
from math import floor

from rules.timing.delays import Delay


@dataclass(slots=True)
class Tempos:
    """`later` by the tempos so far: from which time on a quarter note takes how long.

    In whole milliseconds, or in parts of them: so many are `a_ms`.
    """

    a_ms: int = 1
    found: list[tuple[int, Fraction]] = field(default_factory=list)

    def set(self, now: int, bpm: float | Fraction) -> None:
        """From now on there are so many quarter notes a minute."""
        self.found.append((now, Fraction(60_000 * self.a_ms) / Fraction(bpm)))

    @property
    def beat(self) -> Fraction:
        """How long a quarter note takes now; at 120 a minute to begin with."""
        return self.found[-1][1] if self.found else Fraction(500 * self.a_ms)

    def later(self, now: int, delay: Delay) -> int:
        """The milliseconds, then the quarter notes after `now`, half up; the last tempo goes on."""
        at, left = now + delay.ms * self.a_ms, delay.beats
        for (_, beat), (end, _) in pairwise([(0, Fraction(500 * self.a_ms)), *self.found]):
            if at < end:
                beats = min(left, (end - at) / beat)
                at, left = at + beats * beat, left - beats
        return floor(at + left * self.beat + Fraction(1, 2))
