"""The parts by name.

A new part is a module here with `measure(quick) -> list[Figure]`, a line in ALL, and one in the help of scripts/bench.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping

from benchmarks import (
    alsa,
    checking,
    files,
    folders,
    live,
    many_rules,
    memory,
    messages,
    robustness,
    scale,
    start,
    whole,
)
from benchmarks.figures import Figure

ALL: Mapping[str, Callable[[bool], list[Figure]]] = {
    "files": files.measure,
    "engine": messages.measure,
    "rules": many_rules.measure,
    "scale": scale.measure,
    "memory": memory.measure,
    "whole": whole.measure,
    "folders": folders.measure,
    "start": start.measure,
    "check": checking.measure,
    "live": live.measure,
    "page": live.page,
    "alsa": alsa.measure,
    "model": robustness.against_model,
    "fuzz": robustness.fuzz,
}
USUAL = ("files", "engine", "rules", "scale", "memory", "whole", "folders", "start", "check")
"""What is measured unless parts are named: all but what takes minutes."""
