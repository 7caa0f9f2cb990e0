"""The clock: the one module that reads the time, waits for it, and knows the local time.

Everything else is given a `Clock`. Tests give one whose time passes only when they say so.
"""

from __future__ import annotations

import time
from collections.abc import Callable
from typing import Final, NamedTuple


def time_since_boot_ns() -> int:
    """Return the time since the computer was started, its sleep included, where the system counts that (Linux)."""
    clock = getattr(time, "CLOCK_BOOTTIME", None)
    return time.monotonic_ns() if clock is None else time.clock_gettime_ns(clock)


class Clock(NamedTuple):
    """Reads the time and waits: plain functions, since the loop that plays calls them thousands of times a second.

    `now_ns` gives nanoseconds since some moment and never goes back, `wall_s` the seconds since 1970, which may be set
    while we run. `sleep_s` waits for so many seconds. `boot_ns` goes on while the computer sleeps, `now_ns` does not.
    """

    now_ns: Callable[[], int] = time.monotonic_ns
    wall_s: Callable[[], float] = time.time
    sleep_s: Callable[[float], None] = time.sleep
    boot_ns: Callable[[], int] = time_since_boot_ns


SYSTEM_CLOCK: Final = Clock()
"""The computer's own."""


def local_time(wall_s: float, pattern: str) -> str:
    """Return a moment (seconds since 1970) as the clock on the wall shows it; `pattern` is that of strftime(3)."""
    return time.strftime(pattern, time.localtime(wall_s))
