"""A tempo that is tapped (ruling 38)."""

from __future__ import annotations

from collections.abc import Sequence
from fractions import Fraction

MS = 1_000_000
MINUTE = 60_000 * MS


class Taps:
    """Those that count so far, at most eight."""

    def __init__(self) -> None:
        self._times: list[int] = []

    def tap(self, now: int) -> float | None:
        """One more: the tempo that they make (BPM); None where it makes none."""
        times = self._times
        if times and now - times[-1] < 200 * MS:
            return None
        if times and (now - times[-1] > 2_000 * MS or _is_far_off(times, now)):
            times = []
        self._times = [*times, now][-8:]
        return None if len(self._times) < 2 else float(MINUTE / _beat(self._times))


def _is_far_off(times: Sequence[int], now: int) -> bool:
    return len(times) > 1 and abs(now - times[-1] - _beat(times)) > _beat(times) / 4


def _beat(times: Sequence[int]) -> Fraction:
    return Fraction(times[-1] - times[0], len(times) - 1)
