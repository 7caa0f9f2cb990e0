"""Counting work: how many calls a piece of Python makes, so that a test can say how that grows without a clock."""

from __future__ import annotations

import sys
from collections.abc import Callable
from types import FrameType
from typing import Any


def calls_made(task: Callable[[], object]) -> int:
    """Return how many calls of Python functions `task` makes; each step of a generator counts as one."""
    made = 0

    def count(frame: FrameType, event: str, argument: Any) -> None:
        nonlocal made
        made += event == "call"

    before = sys.getprofile()
    sys.setprofile(count)
    try:
        task()
    finally:
        sys.setprofile(before)
    return made
