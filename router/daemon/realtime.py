"""Real time: the loop plays ahead of other programs, and its memory stays where it is, if the system allows that.

It does where limits say so (`ulimit -r` and `ulimit -l`, or LimitRTPRIO and LimitMEMLOCK of a service), and to root.
"""

from __future__ import annotations

import ctypes
import os
import sys
from contextlib import suppress
from typing import Final, NamedTuple

PRIORITY: Final = 4
"""Above all ordinary programs. A JACK server runs at 10 unless it is told otherwise (from memory), its clients' threads
five below it (measured with jackd 1.9.21: 20 and 15). They carry what we play, so they come first."""

_LOCK_WHAT_IS_THERE: Final = 1 | 4
"""MCL_CURRENT and MCL_ONFAULT of mlockall(2): what has been used stays in memory. Without the latter all that threads
have reserved for their stacks is made at once, 8 MB each. MCL_FUTURE would let later allocations fail at the limit."""


class Realtime(NamedTuple):
    """What the system has allowed: the loop's priority among realtime threads (1-99; None: it has none), and whether
    memory is locked."""

    priority: int | None = None
    memory_locked: bool = False


def take_realtime() -> Realtime:
    """Take what the system allows for the calling thread and the memory in use by now. Threads and processes that this
    one starts later are ordinary."""
    return Realtime(_take_priority(), _lock_memory()) if sys.platform == "linux" else Realtime()


def _take_priority() -> int | None:
    with suppress(OSError):
        os.sched_setscheduler(0, os.SCHED_FIFO | os.SCHED_RESET_ON_FORK, os.sched_param(PRIORITY))
        return PRIORITY
    return None


def _lock_memory() -> bool:
    mlockall = getattr(ctypes.CDLL(None), "mlockall", None)
    return mlockall is not None and mlockall(_LOCK_WHAT_IS_THERE) == 0
