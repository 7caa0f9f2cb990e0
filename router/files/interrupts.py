"""Ctrl-C and its like at a moment that suits: never in the midst of a file, nor between a process and its record."""

from __future__ import annotations

import signal
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from types import FrameType
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


@contextmanager
def ended_like_ctrl_c() -> Iterator[None]:
    """Let a request to end (SIGTERM) and a closed terminal stop us as Ctrl-C does: what was begun is ended in order.

    They do it once: both the shell and the system report a closed terminal, and the second report must not stop what
    ends in order. Only another Ctrl-C does: it comes from a person who doesn't want to wait.
    If we were started so that a closed terminal means nothing, it still means nothing.
    """
    stopped = False

    def stop(number: int, frame: FrameType | None) -> None:
        nonlocal stopped
        if stopped and number != signal.SIGINT:
            return
        stopped = True
        raise KeyboardInterrupt

    usual = (signal.SIG_DFL, signal.default_int_handler)
    heard = [number for number in _INTERRUPTIONS if signal.getsignal(number) in usual]
    before = {number: signal.signal(number, stop) for number in heard}
    try:
        yield
    finally:
        for number, handler in before.items():
            signal.signal(number, handler)


def leave_ctrl_c_to_parent() -> Callable[[], bool]:
    """For a worker, started while undisturbed: Ctrl-C reaches every process of a terminal, and one decides.

    What is returned tells whether it was told to end. Nothing is raised in the midst of what it does.
    """
    told: list[int] = []
    signal.signal(signal.SIGINT, signal.SIG_IGN)
    for number in _endings():
        signal.signal(number, lambda heard, _: told.append(heard))
    if hasattr(signal, "pthread_sigmask"):
        signal.pthread_sigmask(signal.SIG_UNBLOCK, _INTERRUPTIONS)
    return lambda: bool(told)


def _endings() -> list[int]:
    return [getattr(signal, name) for name in ("SIGTERM", "SIGHUP") if hasattr(signal, name)]
