"""The clock: one module reads the time, and all others are given it."""

from __future__ import annotations

import ast
import time
from collections.abc import Iterator
from pathlib import Path

import router
from router.files.clock import SYSTEM_CLOCK, local_time

PACKAGE = Path(router.__file__).parent
TELLING_THE_TIME = {"time", "datetime", "calendar", "sched"}


def imported(path: Path) -> Iterator[str]:
    """The modules that a file imports, by their first names."""
    for node in ast.walk(ast.parse(path.read_bytes())):
        if isinstance(node, ast.Import):
            yield from (alias.name.partition(".")[0] for alias in node.names)
        elif isinstance(node, ast.ImportFrom) and not node.level:
            yield (node.module or "").partition(".")[0]


def test_no_other_module_reads_the_time() -> None:
    """Whatever needs it gets a clock, so that tests can let it pass."""
    readers = {str(path.relative_to(PACKAGE)) for path in PACKAGE.rglob("*.py") if TELLING_THE_TIME & {*imported(path)}}
    assert readers == {"files/clock.py"}


def test_the_computers_own_clock_goes() -> None:
    """It sleeps as long as it is told, and never goes back."""
    began = SYSTEM_CLOCK.now_ns()
    SYSTEM_CLOCK.sleep_s(0.002)
    assert SYSTEM_CLOCK.now_ns() - began >= 2_000_000
    assert abs(SYSTEM_CLOCK.wall_s() - time.time()) < 60


def test_a_moment_is_told_by_the_local_time() -> None:
    """In the form that is asked for."""
    moment = time.mktime((2026, 11, 25, 20, 14, 7, 0, 0, -1))
    assert local_time(moment, "%Y-%m-%d %H:%M:%S") == "2026-11-25 20:14:07"
