"""What holds up a message inside the interpreter, made rare or turned off: garbage, other threads, late timers."""

from __future__ import annotations

import atexit
import gc
import os
import sys
from typing import Final

_SWITCH_INTERVAL_S: Final = 0.0001
"""After this a thread that computes lets the loop in: latency, not throughput, is what counts here."""

_TIMER_SLACK: Final = 29  # PR_SET_TIMERSLACK of prctl(2): sleeps end when they should, not 50 microseconds later


def collect_seldom() -> None:
    """Let the interpreter look for garbage less often: imports make none, and looking takes a tenth of a start."""
    gc.set_threshold(100_000, 50, 1_000)


def want_no_plugins() -> None:
    """Keep pydantic from looking through all installed packages for plugins: we have none, and it takes 15 ms."""
    os.environ.setdefault("PYDANTIC_DISABLE_PLUGINS", "__all__")


def end_without_collecting() -> None:
    """Look for no garbage when the process ends, as the system takes all memory back: an eighth of `check` was that."""
    atexit.unregister(gc.freeze)
    atexit.register(gc.freeze)


def prefer_latency() -> None:
    """Let nothing of the interpreter's own hold up a message, from now until the process ends."""
    sys.setswitchinterval(_SWITCH_INTERVAL_S)
    ignore_old_objects()
    if sys.platform == "linux":
        import ctypes

        ctypes.CDLL(None).prctl(_TIMER_SLACK, 1, 0, 0, 0)


def ignore_old_objects() -> None:
    """Look for garbage in nothing that was made so far. Messages make next to nothing that would have to be found."""
    gc.collect()
    gc.freeze()
    collect_seldom()
