"""Processes of a session, and how they end."""

from __future__ import annotations

import contextlib
import os
import signal
import time
from collections.abc import Callable
from pathlib import Path


def living(session: int) -> list[int]:
    """The processes of a session that live; those that only wait to be buried don't."""
    found = []
    for folder in Path("/proc").glob("[0-9]*"):
        with contextlib.suppress(OSError):
            state, *numbers = (folder / "stat").read_text().rpartition(")")[2].split()
            if int(numbers[2]) == session and state not in "ZX":
                found.append(int(folder.name))
    return found


def within(seconds: float, condition: Callable[[], object]) -> bool:
    """Wait until something holds; whether it does in that time."""
    end = time.monotonic() + seconds
    while not condition():
        if time.monotonic() > end:
            return False
        time.sleep(0.005)
    return True


def left_after(session: int, seconds: float) -> list[int]:
    """The processes of a session that still live after so long; they are ended."""
    within(seconds, lambda: not living(session))
    left = living(session)
    for process in left:
        with contextlib.suppress(OSError):
            os.kill(process, signal.SIGKILL)
    return left


def schedule(priority: int) -> None:
    """Be a realtime process of a priority (0: an ordinary one), as will be what is started from now on."""
    os.sched_setscheduler(0, os.SCHED_RR if priority else os.SCHED_OTHER, os.sched_param(priority))
