"""Real time: the loop plays ahead of other programs, and its memory stays where it is, if the system allows that.

It does where limits say so (`ulimit -r` and `ulimit -l`, or LimitRTPRIO and LimitMEMLOCK of a service), and to root.
"""

from __future__ import annotations

import ctypes
import os
import sys
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from typing import Final, NamedTuple

PRIORITY: Final = 4
"""Above all ordinary programs. A JACK server runs at 10 unless it is told otherwise (from memory), its clients' threads
five below it (measured with jackd 1.9.21: 20 and 15). They carry what we play, so they come first."""

_PRIORITY_BESIDE: Final = PRIORITY - 1

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


@contextmanager
def beside_the_loop() -> Iterator[None]:
    """Let the calling thread go ahead of ordinary programs, right behind the loop, if the system allows that.

    For a thread that works often, and each time for a fraction of a millisecond. It has the interpreter then. If the
    system put it aside for other programs, the loop would wait for those too. Afterwards it keeps the flag that makes
    its children ordinary: only a privileged process may drop that (sched(7)).
    """
    before = _scheduling() if sys.platform == "linux" else None
    if before is None:
        yield
        return
    try:
        yield
    finally:
        policy, param = before
        os.sched_setscheduler(0, policy | os.SCHED_RESET_ON_FORK, param)


def _scheduling() -> tuple[int, os.sched_param] | None:
    """Take the priority beside the loop; return what was before, None where the system refuses it."""
    before = os.sched_getscheduler(0), os.sched_getparam(0)
    with suppress(OSError):
        os.sched_setscheduler(0, os.SCHED_FIFO | os.SCHED_RESET_ON_FORK, os.sched_param(_PRIORITY_BESIDE))
        return before
    return None


def _take_priority() -> int | None:
    with suppress(OSError):
        os.sched_setscheduler(0, os.SCHED_FIFO | os.SCHED_RESET_ON_FORK, os.sched_param(PRIORITY))
        return PRIORITY
    return None


def _lock_memory() -> bool:
    mlockall = getattr(ctypes.CDLL(None), "mlockall", None)
    return mlockall is not None and mlockall(_LOCK_WHAT_IS_THERE) == 0
