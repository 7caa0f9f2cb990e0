"""How long a delay is: milliseconds and quarter notes, kept apart until the time is known."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from fractions import Fraction
from typing import Final


@dataclass(frozen=True, slots=True)
class Delay:
    """A time span: milliseconds plus quarter notes (beats), both exact."""

    ms: Fraction = Fraction(0)
    beats: Fraction = Fraction(0)

    def __add__(self, other: Delay) -> Delay:
        return Delay(self.ms + other.ms, self.beats + other.beats)

    def times(self, n: int) -> Delay:
        """This delay `n` times over."""
        return Delay(self.ms * n, self.beats * n)


AT_ONCE: Final = Delay()

NEVER: Final = (1 << 62) - 1
"""A time that doesn't come: the largest number that compiled code handles without making an object of it."""

Later = Callable[[int, Delay], int]
"""Given a time and a delay, the time after it, in the caller's unit: nanoseconds live, ticks in a file. Never
earlier than the time given, and never decreasing as that grows."""

NANOSECONDS_PER_MS: Final = 1_000_000


def steady_nanoseconds(bpm: float) -> Later:
    """`later` in nanoseconds at a fixed tempo of quarter notes per minute."""
    per_beat = Fraction(60_000_000_000) / Fraction(bpm)

    def later(now: int, delay: Delay) -> int:
        return now + int(delay.ms * NANOSECONDS_PER_MS + delay.beats * per_beat + Fraction(1, 2))

    return later


def in_words(ms: Fraction, beats: Fraction) -> str:
    """A delay as people say it: "250 ms", "1/2 beats", or both."""
    parts = [f"{float(ms):g} ms"] if ms else []
    parts += [f"{beats} beats" if beats != 1 else "1 beat"] if beats else []
    return " and ".join(parts) or "nothing"
