"""How long our own code takes for a message: counted in a histogram, told as percentiles."""

from __future__ import annotations

from typing import Final

_STEP: Final = 10  # 2 ** 10 ns: about a microsecond a place
_PLACES: Final = 4_096


class Latency:
    """Counts spans (ns) in steps of 1.024 microseconds up to 4.2 ms; what is longer counts as that."""

    __slots__ = ("_counts",)

    def __init__(self) -> None:
        self._counts = [0] * _PLACES

    def note(self, span: int) -> None:
        """One message took so long (ns)."""
        place = span >> _STEP
        self._counts[place if place < _PLACES else _PLACES - 1] += 1

    def percentile(self, share: float) -> float | None:
        """The span (microseconds) that `share` (0-1) of the messages kept to; None before the first message."""
        total = sum(self._counts)
        if not total:
            return None
        seen = 0
        for place, count in enumerate(self._counts):
            seen += count
            if seen >= share * total:
                return (place + 1 << _STEP) / 1_000
        raise AssertionError("a share above 1")
