"""How long a delay is: milliseconds and quarter notes, kept apart until the time is known."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field
from fractions import Fraction
from functools import lru_cache
from typing import Final


@dataclass(frozen=True, slots=True)
class Delay:
    """A time span: milliseconds plus quarter notes (beats), both exact.

    Its hash is kept: fractions take microseconds to hash, and sums and times of delays are looked up at every message.
    """

    ms: Fraction = Fraction(0)
    beats: Fraction = Fraction(0)
    _hash: int = field(init=False, repr=False, compare=False)

    def __post_init__(self) -> None:
        object.__setattr__(self, "_hash", hash((self.ms, self.beats)))

    def __hash__(self) -> int:
        return self._hash

    def __add__(self, other: Delay) -> Delay:
        return _sum(self, other)

    def times(self, n: int) -> Delay:
        """This delay `n` times over."""
        return Delay(self.ms * n, self.beats * n)


@lru_cache(maxsize=4096)
def _sum(first: Delay, second: Delay) -> Delay:
    """Two delays one after the other; of the few that rules name, each sum is computed once."""
    return Delay(first.ms + second.ms, first.beats + second.beats)


@lru_cache(maxsize=4096)
def nanoseconds(delay: Delay, beat: Fraction) -> int:
    """The length of a delay in nanoseconds, half up, where a quarter note takes `beat` nanoseconds."""
    return int(delay.ms * NANOSECONDS_PER_MS + delay.beats * beat + Fraction(1, 2))


AT_ONCE: Final = Delay()

NEVER: Final = (1 << 62) - 1
"""A time that doesn't come: the largest number that compiled code handles without making an object of it."""

Later = Callable[[int, Delay], int]
"""Given a time and a delay, the time after it, in the caller's unit: nanoseconds live, ticks in a file. Never
earlier than the time given, and never decreasing as that grows."""

NANOSECONDS_PER_MS: Final = 1_000_000
NANOSECONDS_PER_SECOND: Final = 1_000 * NANOSECONDS_PER_MS
NANOSECONDS_PER_MINUTE: Final = 60 * NANOSECONDS_PER_SECOND


def steady_nanoseconds(bpm: float) -> Later:
    """`later` in nanoseconds at a fixed tempo of quarter notes per minute."""
    per_beat = Fraction(NANOSECONDS_PER_MINUTE) / Fraction(bpm)
    spans: dict[Delay, int] = {}

    def later(now: int, delay: Delay) -> int:
        span = spans.get(delay)
        if span is None:
            span = spans[delay] = nanoseconds(delay, per_beat)
        return now + span

    return later


def in_words(delay: Delay) -> str:
    """A delay as people say it: "250 ms", "1/2 beats", or both."""
    parts = [f"{float(delay.ms):g} ms"] if delay.ms else []
    parts += [f"{delay.beats} beats" if delay.beats != 1 else "1 beat"] if delay.beats else []
    return " and ".join(parts) or "nothing"
