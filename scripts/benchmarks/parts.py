"""The parts by name."""

from __future__ import annotations

from collections.abc import Callable, Mapping

from benchmarks import files, many_rules, messages
from benchmarks.figures import Figure

ALL: Mapping[str, Callable[[bool], list[Figure]]] = {
    "files": files.measure,
    "engine": messages.measure,
    "rules": many_rules.measure,
}
USUAL = ("files", "engine", "rules")
