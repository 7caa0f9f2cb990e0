"""The line that shows how a take plays, and what is typed there, on a terminal of its own."""

from __future__ import annotations

import os
import pty
import sys
import tty
from collections.abc import Iterator
from contextlib import ExitStack
from pathlib import Path
from typing import Any

import pytest

from router.cli.play_screen import PlayScreen
from rules.playback.take_stream import PlayableTake
from tests.support.fake_clock import FakeClock
from tests.support.played_files import OFF, ON, take_of

STATE: dict[str, Any] = {"bar": 1, "seconds": 0.0, "paused": False, "played": 0, "nowhere": 0}


class Terminal:
    """A terminal that `play` is shown on. It gives every byte at once, as pasted lines come."""

    def __init__(self, opened: ExitStack, monkeypatch: pytest.MonkeyPatch) -> None:
        self._ours, theirs = pty.openpty()
        opened.callback(os.close, self._ours)
        tty.setraw(theirs)
        self._keys = opened.enter_context(os.fdopen(theirs, encoding="utf-8"))
        self._lines = opened.enter_context(os.fdopen(os.dup(theirs), "w", encoding="utf-8"))
        self._monkeypatch = monkeypatch
        self.clock = FakeClock()

    def type(self, text: bytes) -> None:
        """Press keys."""
        os.write(self._ours, text)

    def screen(self, *, hears_keys: bool = True) -> PlayScreen:
        """A screen there."""
        self._monkeypatch.setattr(sys, "stdin", self._keys if hears_keys else None)
        self._monkeypatch.setattr(sys, "stderr", self._lines)
        return PlayScreen(self.clock.clock)

    def shown(self, screen: PlayScreen, **state: Any) -> str:
        """The line that is shown of a take in this state."""
        self.clock.now += 1_000_000_000
        screen.look({**STATE, **state})
        return os.read(self._ours, 4096).decode().strip()


@pytest.fixture
def terminal(monkeypatch: pytest.MonkeyPatch) -> Iterator[Terminal]:
    """The terminal of this process, which is in the foreground there."""
    monkeypatch.setenv("COLUMNS", "120")
    monkeypatch.setattr(os, "tcgetpgrp", lambda _: os.getpgrp())
    with ExitStack() as opened:
        yield Terminal(opened, monkeypatch)


def take(*, by_clock: bool = False) -> PlayableTake:
    """Two seconds, a bar."""
    return PlayableTake(take_of([(0, ON), (96, OFF)], end=96 * 4), [0], by_clock=by_clock, sends_clock=False)


def orders(screen: PlayScreen, looks: int) -> list[str]:
    """What so many looks bring, once what was typed has come."""
    return [screen.look(STATE) for _ in range(looks)]


def test_each_line_is_an_order_however_they_arrive(terminal: Terminal) -> None:
    """Two at once, and one in pieces, which nobody waits for."""
    screen = terminal.screen()
    terminal.type(b"p\nP\n\n")
    assert orders(screen, 4) == ["take pause", "take pause", "take next", ""]
    terminal.type(b"p")
    assert orders(screen, 2) == ["", ""]
    terminal.type(b"\n")
    assert orders(screen, 2) == ["take pause", ""]


def test_in_the_background_nothing_is_read(terminal: Terminal, monkeypatch: pytest.MonkeyPatch) -> None:
    """What is typed there is for another program."""
    screen = terminal.screen()
    monkeypatch.setattr(os, "tcgetpgrp", lambda _: os.getpgrp() + 1)
    terminal.type(b"\n")
    assert orders(screen, 1) == [""]
    monkeypatch.setattr(os, "tcgetpgrp", lambda _: os.getpgrp())
    assert orders(screen, 1) == ["take next"]


def test_keys_are_named_only_where_they_are_heard(terminal: Terminal, monkeypatch: pytest.MonkeyPatch) -> None:
    """Not where the terminal is that of another session."""
    line = "take.mid: bar 1 of 1, 0:00 of 0:02  "
    screen = terminal.screen()
    for has_next, enter in ((True, "next"), (False, "end")):
        screen.begin(Path("songs/take.mid"), take(), waits=False, has_next=has_next)
        assert terminal.shown(screen) == f"{line}(Enter: {enter}, p: pause, Ctrl-C: end)"

    def fails(_: int) -> int:
        raise OSError("not a terminal of this session")

    monkeypatch.setattr(os, "tcgetpgrp", fails)
    screen = terminal.screen()
    screen.begin(Path("take.mid"), take(), waits=False, has_next=True)
    terminal.type(b"p\n")
    assert terminal.shown(screen) == f"{line}(Ctrl-C: end)"
    assert orders(screen, 1) == [""]


def test_a_take_that_waits_says_for_what(terminal: Terminal) -> None:
    """An order first, and by the clock its start; without keys only a pedal can begin it."""
    screen = terminal.screen()
    screen.begin(Path("take.mid"), take(by_clock=True), waits=True, has_next=True)
    assert terminal.shown(screen) == "take.mid: waits for Enter or a pedal  (Enter: begin, Ctrl-C: end)"
    screen.go_on()
    keys = "(Enter: next, p: go on, Ctrl-C: end)"
    assert terminal.shown(screen, bar=0, paused=True) == f"take.mid: waits for the start of the clock  {keys}"
    assert terminal.shown(screen, paused=True) == f"take.mid: bar 1 of 1, 0:00 of 0:02, paused  {keys}"
    screen = terminal.screen(hears_keys=False)
    screen.begin(Path("take.mid"), take(), waits=True, has_next=True)
    assert terminal.shown(screen) == "take.mid: waits for a pedal  (Ctrl-C: end)"


def test_without_a_terminal_it_is_said_once_that_a_take_waits(capsys: pytest.CaptureFixture[str]) -> None:
    """Whoever reads the log of a headless computer wonders why nothing is heard."""
    screen = PlayScreen(FakeClock().clock)
    screen.begin(Path("songs/take.mid"), take(), waits=True, has_next=True)
    screen.look(STATE)
    screen.begin(Path("songs/next.mid"), take(), waits=False, has_next=False)
    assert capsys.readouterr().err == "take.mid waits for a pedal\n"
