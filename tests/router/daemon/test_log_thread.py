"""A daemon's lines on standard error."""

import contextlib
import io
import os
import sys

import pytest

from router.daemon.log_thread import LogThread


def test_lines_are_said_in_order_and_all_before_the_stop(capfd: pytest.CaptureFixture[str]) -> None:
    """Whatever was said is on standard error once it has stopped; control characters come as codes."""
    log = LogThread()
    for line in ("one", "two \x1b[31m", "three"):
        log.say(line)
    log.stop()
    assert capfd.readouterr().err == "one\ntwo \\x1b[31m\nthree\n"


def test_a_reader_that_reads_nothing_holds_up_nobody(monkeypatch: pytest.MonkeyPatch) -> None:
    """With a full pipe on standard error, saying ten thousand lines returns, and so does the stop."""
    read, write = os.pipe()
    with os.fdopen(read), os.fdopen(write, "w") as full:
        monkeypatch.setattr(sys, "stderr", full)
        log = LogThread()
        for _ in range(10_000):
            log.say("x" * 100)
        assert not log.stop(patience_s=0.05)
        os.set_blocking(read, False)
        while not log.stop(patience_s=0.001):
            with contextlib.suppress(BlockingIOError):
                os.read(read, 1 << 20)


class _Gone(io.StringIO):
    """A stream whose reader has gone."""

    def write(self, text: str) -> int:
        raise BrokenPipeError


def test_a_reader_that_has_gone_is_no_trouble(monkeypatch: pytest.MonkeyPatch) -> None:
    """The lines go nowhere, and the next ones are taken all the same."""
    monkeypatch.setattr(sys, "stderr", _Gone())
    log = LogThread()
    log.say("nobody hears this")
    log.say("nor this")
    assert log.stop()
