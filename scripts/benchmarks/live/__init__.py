"""The live part: the daemon over a JACK server of its own, with clocks at both of its ends.

Server and daemon are realtime processes where this computer allows that; each figure says which it was.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import replace

from benchmarks.figures import Figure


def measure(quick: bool) -> list[Figure]:
    """All figures but the soak."""
    from benchmarks.live import burden, speed

    return _with_server(speed.measure(quick) + burden.measure(quick))


def page(quick: bool) -> list[Figure]:
    """What the page costs the music."""
    from benchmarks.live import page_cost

    return _with_server(page_cost.measure(quick))


def soak(minutes: float) -> list[Figure]:
    """Memory over many minutes."""
    from benchmarks.live import burden

    return _with_server(burden.soak(minutes))


def _with_server(figures: Iterable[Figure]) -> list[Figure]:
    """Without realtime a server loses periods on a busy computer, and so does whoever it wakes."""
    from tests.live.server import kind_of_server

    server = f"server {kind_of_server()}"
    return [replace(figure, ours=f"{figure.ours}; {server}".removeprefix("; ")) for figure in figures]
