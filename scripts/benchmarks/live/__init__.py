"""The live part: the daemon over a JACK server of its own, with clocks at both of its ends."""

from __future__ import annotations

from benchmarks.figures import Figure


def measure(quick: bool) -> list[Figure]:
    """All figures but the soak."""
    from benchmarks.live import burden, speed

    return speed.measure(quick) + burden.measure(quick)


def soak(minutes: float) -> list[Figure]:
    """Memory over many minutes."""
    from benchmarks.live import burden

    return burden.soak(minutes)
