"""The parts by name."""

from __future__ import annotations

from collections.abc import Callable, Mapping

from benchmarks import files, live, many_rules, memory, messages, robustness, start
from benchmarks.figures import Figure

ALL: Mapping[str, Callable[[bool], list[Figure]]] = {
    "files": files.measure,
    "engine": messages.measure,
    "rules": many_rules.measure,
    "memory": memory.measure,
    "start": start.measure,
    "live": live.measure,
    "model": robustness.against_model,
    "fuzz": robustness.fuzz,
}
USUAL = ("files", "engine", "rules", "memory", "start")
"""What is measured unless parts are named: all but what takes minutes."""
