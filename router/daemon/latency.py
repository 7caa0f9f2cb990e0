"""How long messages take inside the daemon."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Final

_STEP_BITS: Final = 10  # a step is 2 ** 10 ns, about a microsecond
_STEPS: Final = 4_096
_SHOWN: Final = (0.5, 0.99, 0.999)


class Latency:
    """Counts spans (ns) in steps of 1.024 microseconds up to 4.2 ms; what is longer counts as that."""

    __slots__ = ("_counts",)

    def __init__(self) -> None:
        self._counts = [0] * _STEPS

    def note(self, span_ns: int) -> None:
        """Count a message that took so long (ns)."""
        step = span_ns >> _STEP_BITS
        self._counts[step if step < _STEPS else _STEPS - 1] += 1

    def percentiles(self, shares: Sequence[float]) -> list[float | None]:
        """The spans (microseconds) that these shares (0-1, in order) of the messages kept to; None before the first."""
        counts = self._counts.copy()  # the loop goes on counting, if another thread asks
        total = sum(counts)
        if not total:
            return [None] * len(shares)
        found: list[float | None] = []
        seen = 0
        for step, count in enumerate(counts):
            seen += count
            while len(found) < len(shares) and seen >= shares[len(found)] * total:
                found.append((step + 1 << _STEP_BITS) / 1_000)
            if len(found) == len(shares):
                return found
        raise AssertionError("a share above 1")

    def state(self) -> dict[str, float | None]:
        """Return the percentiles that `status` shows, in microseconds."""
        names = [f"p{share * 100:g}" for share in _SHOWN]
        return dict(zip(names, self.percentiles(_SHOWN), strict=True))
