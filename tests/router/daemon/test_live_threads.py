"""Calls that other threads ask of the loop."""

from __future__ import annotations

import threading

import pytest

from router.files.clock import SYSTEM_CLOCK
from rules.errors import MachineError
from tests.support.live_rig import LiveRig


def test_the_loop_answers_other_threads() -> None:
    """Results and exceptions come back to who asked."""
    rig = LiveRig(clock=SYSTEM_CLOCK)
    rig.live.begin()
    thread = threading.Thread(target=rig.live.run)
    thread.start()
    try:
        assert rig.live.do(lambda: 6 * 7) == 42
        assert rig.live.do(rig.live.status)["held"] == 0
        with pytest.raises(KeyError, match="nonsense"):
            rig.live.do(lambda: rig.live.turn("nonsense", True))
    finally:
        rig.live.stop()
        thread.join()


def test_who_asks_a_loop_that_doesn_t_run_is_told(monkeypatch: pytest.MonkeyPatch) -> None:
    """Nobody waits for ever."""
    monkeypatch.setattr("router.daemon.requests._PATIENCE_S", 0.01)
    with pytest.raises(MachineError, match=r"^the daemon is too busy to answer$"):
        LiveRig().live.do(lambda: 1)


def test_who_asks_a_loop_that_has_ended_is_told_at_once() -> None:
    """A reload that comes too late doesn't hold up the end."""
    rig = LiveRig()
    rig.goes([])
    with pytest.raises(MachineError, match=r"^the daemon is about to end$"):
        rig.live.do(lambda: 1)
