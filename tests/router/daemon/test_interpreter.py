"""What the interpreter is told so that it holds up no message."""

from __future__ import annotations

import ctypes
import gc
import sys
from collections.abc import Iterator

import pytest

from router.daemon.interpreter import collect_seldom, ignore_old_objects, prefer_latency

PR_SET_TIMERSLACK, PR_GET_TIMERSLACK = 29, 30


@pytest.fixture(autouse=True)
def _as_before() -> Iterator[None]:
    before = gc.get_threshold()
    yield
    gc.unfreeze()
    gc.set_threshold(*before)


def test_looking_becomes_rare() -> None:
    """A hundred times as rare as by itself."""
    gc.set_threshold(700, 10, 10)
    collect_seldom()
    assert gc.get_threshold()[0] >= 70_000


def test_what_was_made_before_is_never_looked_at_again() -> None:
    """So that no message waits for a look at all that a start has made."""
    kept = [[number] for number in range(100)]
    ignore_old_objects()
    assert gc.get_freeze_count() > len(kept)
    assert not any(one is kept for one in gc.get_objects())


@pytest.mark.skipif(sys.platform != "linux", reason="only Linux rounds timers up by a setting")
def test_threads_that_compute_let_the_loop_in() -> None:
    """After a tenth of a millisecond, and sleeps end when they should (prctl(2): 1 ns of slack, not 50 µs)."""
    interval, slack = sys.getswitchinterval(), _timer(PR_GET_TIMERSLACK)
    try:
        prefer_latency()
        assert sys.getswitchinterval() == pytest.approx(0.0001)
        assert _timer(PR_GET_TIMERSLACK) == 1
    finally:
        sys.setswitchinterval(interval)
        _timer(PR_SET_TIMERSLACK, slack)


def _timer(what: int, slack: int = 0) -> int:
    return int(ctypes.CDLL(None).prctl(what, slack, 0, 0, 0))
