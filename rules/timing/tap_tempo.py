"""A tempo that is tapped: with a foot, on a pad, by a command."""

from __future__ import annotations

from collections import deque
from fractions import Fraction
from typing import Final

from rules.timing.delays import NANOSECONDS_PER_MS

MOST_TAPS: Final = 8
"""So many taps are averaged at most: the last ones."""

NEAREST_NS: Final = 200 * NANOSECONDS_PER_MS
"""A tap that comes sooner after the one before is ignored: 300 BPM, or a pad that bounces."""

FURTHEST_NS: Final = 2_000 * NANOSECONDS_PER_MS
"""A tap that comes later after the one before begins anew: 30 BPM, or somebody who taps again after a while."""

_OUTLIER: Final = 4
"""A tap that comes off by more than this part of a quarter note begins anew."""


class TapTempo:
    """Taps, each a quarter note after the one before."""

    __slots__ = ("_taps",)

    def __init__(self) -> None:
        self._taps: deque[int] = deque(maxlen=MOST_TAPS)

    def tap(self, now: int) -> Fraction | None:
        """Take in a tap at a time (ns). Return how long a quarter note takes (ns); None where it takes another tap."""
        taps = self._taps
        if taps:
            since = now - taps[-1]
            if since < NEAREST_NS:
                return None
            if since > FURTHEST_NS or self._is_outlier(since):
                taps.clear()
        taps.append(now)
        return self._beat()

    def _is_outlier(self, since: int) -> bool:
        beat = self._beat()
        return beat is not None and abs(since - beat) * _OUTLIER > beat

    def _beat(self) -> Fraction | None:
        taps = self._taps
        return Fraction(taps[-1] - taps[0], len(taps) - 1) if len(taps) > 1 else None
