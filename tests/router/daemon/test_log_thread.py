"""A daemon's lines on standard error."""

import contextlib
import io
import os
import sys
from pathlib import Path

import pytest

from router.daemon.log_thread import LogThread
from router.files.clock import local_time
from tests.support.fake_clock import FakeClock


def test_lines_are_said_in_order_and_all_before_the_stop(capfd: pytest.CaptureFixture[str]) -> None:
    """Whatever was said is on standard error once it has stopped; control characters come as codes."""
    time = FakeClock(wall_s=1_795_610_000.0)
    log = LogThread(time.clock)
    for line in ("one", "two \x1b[31m", "three"):
        log.say(line)
        time.wall += 60
    log.stop()
    times = [local_time(1_795_610_000.0 + 60 * minute, "%H:%M:%S") for minute in range(3)]
    assert capfd.readouterr().err == f"{times[0]}  one\n{times[1]}  two \\x1b[31m\n{times[2]}  three\n"


@pytest.mark.parametrize("is_its_own", [True, False])
def test_a_journal_adds_the_times_itself(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capfd: pytest.CaptureFixture[str], is_its_own: bool
) -> None:
    """Where standard error is the stream that JOURNAL_STREAM names, and not only somebody else's of a service."""
    with (tmp_path / "journal").open("w") as stream:
        monkeypatch.setattr(sys, "stderr", stream)
        about = os.fstat(stream.fileno())
        monkeypatch.setenv("JOURNAL_STREAM", f"{about.st_dev}:{about.st_ino + (not is_its_own)}")
        log = LogThread()
        log.say("one")
        log.stop()
    assert ((tmp_path / "journal").read_text() == "one\n") is is_its_own
    assert capfd.readouterr().err == ""


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
