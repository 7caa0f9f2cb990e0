"""The ALSA part: the daemon on the sequencer, woken by it, beside the same daemon that polls by way of python-rtmidi.

It needs the kernel modules snd-seq and snd-virmidi; `scripts/emulation/with-alsa` has them.
"""

from __future__ import annotations

from benchmarks.figures import Figure


def measure(quick: bool) -> list[Figure]:
    """All figures."""
    from benchmarks.alsa import both, woken

    return both.measure(quick) + woken.measure(quick)
