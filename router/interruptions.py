"""Ctrl-C and its like at a moment that suits: never in the midst of a file, nor between a process and its record."""

from __future__ import annotations

import signal
from collections.abc import Iterator
from contextlib import contextmanager
from typing import Final

_INTERRUPTIONS: Final = frozenset(
    getattr(signal, name) for name in ("SIGINT", "SIGTERM", "SIGHUP") if hasattr(signal, name)
)


@contextmanager
def undisturbed() -> Iterator[None]:
    """Hold back what would interrupt, where the system can; it takes effect afterwards."""
    if not hasattr(signal, "pthread_sigmask"):
        yield
        return
    before = signal.pthread_sigmask(signal.SIG_BLOCK, _INTERRUPTIONS)
    try:
        yield
    finally:
        signal.pthread_sigmask(signal.SIG_SETMASK, before)


def leave_ctrl_c_to_the_leader() -> None:
    """For a worker, started while undisturbed: Ctrl-C reaches every process of a terminal, and one decides."""
    signal.signal(signal.SIGINT, signal.SIG_IGN)
    if hasattr(signal, "pthread_sigmask"):
        signal.pthread_sigmask(signal.SIG_UNBLOCK, _INTERRUPTIONS)
