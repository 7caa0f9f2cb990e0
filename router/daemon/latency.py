"""How long messages take inside the daemon."""

from __future__ import annotations

from typing import Final

_STEP_BITS: Final = 10  # a step is 2 ** 10 ns, about a microsecond
_STEPS: Final = 4_096


class Latency:
    """Counts spans (ns) in steps of 1.024 microseconds up to 4.2 ms; what is longer counts as that."""

    __slots__ = ("_counts",)

    def __init__(self) -> None:
        self._counts = [0] * _STEPS

    def note(self, span_ns: int) -> None:
        """Count a message that took so long (ns)."""
        step = span_ns >> _STEP_BITS
        self._counts[step if step < _STEPS else _STEPS - 1] += 1

    def percentile(self, share: float) -> float | None:
        """The span (microseconds) that `share` (0-1) of the messages kept to; None before the first message."""
        total = sum(self._counts)
        if not total:
            return None
        seen = 0
        for step, count in enumerate(self._counts):
            seen += count
            if seen >= share * total:
                return (step + 1 << _STEP_BITS) / 1_000
        raise AssertionError("a share above 1")

    def state(self) -> dict[str, float | None]:
        """Return the percentiles that `status` shows, in microseconds."""
        return {f"p{share * 100:g}": self.percentile(share) for share in (0.5, 0.99, 0.999)}
