"""What signals do to a daemon."""

from __future__ import annotations

import os
import signal
import subprocess
import sys
from pathlib import Path

import pytest

from router.daemon.signals import signals_heeded
from router.text.exit_codes import INTERRUPTED

ROOT = Path(__file__).parents[3]
ALL = [signal.SIGINT, signal.SIGTERM, signal.SIGHUP]


class Heard:
    """What a daemon was told, in order."""

    def __init__(self) -> None:
        self.words: list[str] = []

    def leave(self) -> None:
        """Take note that it shall leave."""
        self.words.append("leave")

    def reload(self) -> None:
        """Take note that it shall read its rules."""
        self.words.append("reload")


def handlers() -> list[object]:
    """Who handles the signals now."""
    return [signal.getsignal(number) for number in ALL]


@pytest.mark.parametrize("number", [signal.SIGINT, signal.SIGTERM])
def test_a_daemon_is_told_to_leave(number: signal.Signals) -> None:
    """It only takes note, and the signals are handled as before afterwards."""
    before, heard = handlers(), Heard()
    with signals_heeded(heard.leave, heard.reload):
        os.kill(os.getpid(), number)
    assert heard.words == ["leave"]
    assert handlers() == before


@pytest.mark.parametrize(("on_a_terminal", "words"), [(False, ["reload", "reload"]), (True, ["leave"])])
def test_hanging_up_means_two_things(monkeypatch: pytest.MonkeyPatch, on_a_terminal: bool, words: list[str]) -> None:
    """A daemon reads its rules as often as it is told; one that a terminal started leaves with it."""
    monkeypatch.setattr("router.daemon.signals.is_terminal", lambda _: on_a_terminal)
    heard = Heard()
    with signals_heeded(heard.leave, heard.reload):
        for _ in words:
            os.kill(os.getpid(), signal.SIGHUP)
    assert heard.words == words


@pytest.mark.parametrize("first", ALL)
def test_hanging_up_never_ends_it_at_once(monkeypatch: pytest.MonkeyPatch, first: signal.Signals) -> None:
    """A shell hands it on and the system sends it again: whatever came before, what sounds is ended in order."""
    monkeypatch.setattr("router.daemon.signals.is_terminal", lambda _: True)
    heard = Heard()
    monkeypatch.setattr("os._exit", lambda code: heard.words.append(f"ended with {code}"))
    with signals_heeded(heard.leave, heard.reload):
        for number in (first, signal.SIGHUP, signal.SIGHUP):
            os.kill(os.getpid(), number)
    assert heard.words == ["leave"]


@pytest.mark.usefixtures("as_a_terminal_starts_us")
@pytest.mark.parametrize(
    ("on_a_terminal", "words"), [(False, ["reload", "leave"]), (True, ["leave"])], ids=["without", "on a terminal"]
)
def test_what_its_parent_had_it_ignore_stays_ignored(
    monkeypatch: pytest.MonkeyPatch, on_a_terminal: bool, words: list[str]
) -> None:
    """A background job hears no Ctrl-C, and what `nohup` started outlives its terminal; a service is always told."""
    monkeypatch.setattr("router.daemon.signals.is_terminal", lambda _: on_a_terminal)
    heard = Heard()
    monkeypatch.setattr("os._exit", lambda code: heard.words.append(f"ended with {code}"))
    for number in (signal.SIGINT, signal.SIGHUP):
        signal.signal(number, signal.SIG_IGN)
    with signals_heeded(heard.leave, heard.reload):
        for number in (signal.SIGINT, signal.SIGHUP, signal.SIGTERM):
            os.kill(os.getpid(), number)
    assert heard.words == words
    assert [signal.getsignal(number) for number in (signal.SIGINT, signal.SIGHUP)] == [signal.SIG_IGN, signal.SIG_IGN]


def test_a_second_signal_ends_it_at_once() -> None:
    """Whoever presses Ctrl-C twice doesn't want to wait."""
    program = (
        "import time; from router.daemon.signals import signals_heeded\n"
        "def leave(): print('leaving', flush=True)\n"
        "with signals_heeded(leave, leave):\n"
        "    print('ready', flush=True)\n"
        "    while True: time.sleep(0.01)\n"
    )
    with subprocess.Popen([sys.executable, "-c", program], cwd=ROOT, stdout=subprocess.PIPE, text=True) as process:
        assert process.stdout is not None
        assert process.stdout.readline() == "ready\n"
        process.send_signal(signal.SIGINT)
        assert process.stdout.readline() == "leaving\n"
        process.send_signal(signal.SIGTERM)
        assert process.wait(timeout=20) == INTERRUPTED
