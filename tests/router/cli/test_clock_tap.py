"""`pointsman clock` and `tap`, from the command line to a daemon over a real socket."""

from __future__ import annotations

import io
import sys

import pytest

from tests.support.command_shell import CommandShell
from tests.support.fake_daemon import STATUS, PlayedDaemon


class Terminal(io.StringIO):
    """Someone who presses Enter."""

    def isatty(self) -> bool:
        """It is one."""
        return True


def test_the_clock_is_shown(daemon: PlayedDaemon, shell: CommandShell) -> None:
    """Tempo, what sets it, and where it is since its start."""
    answer = shell.run("clock", "--name", "pit")
    assert (answer.code, answer.err) == (0, "")
    assert answer.out == "124 BPM, from the clock of keyboard\nThe clock runs, bar 5, beat 2.\n"
    assert daemon.asked == [("status", {})]
    assert shell.run("clock", "--name", "pit", "--json").data == {
        "command": "clock",
        "ok": True,
        "clock": STATUS["clock"],
    }


@pytest.mark.parametrize("what", ["start", "continue", "stop"])
def test_the_clock_is_moved(daemon: PlayedDaemon, shell: CommandShell, what: str) -> None:
    """Started, continued, stopped."""
    answer = shell.run("clock", what, "--name", "pit")
    assert answer.out.startswith("124 BPM, from the clock of Pointsman\n")
    assert ("stopped" in answer.out) == (what == "stop")
    assert daemon.asked == [("clock", {"do": what})]


def test_a_clock_that_no_output_hears(daemon: PlayedDaemon, shell: CommandShell) -> None:
    """The rules need a word for it, which is said where the clock is moved, and not in the data."""
    daemon.sets_tempo = None
    daemon.status["clock"] = {**STATUS["clock"], "beats": None}
    answer = shell.run("clock", "start", "--name", "pit")
    assert (answer.code, answer.out.splitlines()) == (
        0,
        ["124 BPM; no clock arrives", 'No output hears your clock: write clock = "own" at its port.'],
    )
    assert shell.run("clock", "96", "--name", "pit").out == "96 BPM; no clock arrives\n"
    assert shell.run("clock", "start", "--name", "pit", "--json").data["clock"]["from"] is None


def test_a_tempo_is_set(daemon: PlayedDaemon, shell: CommandShell) -> None:
    """As a number."""
    answer = shell.run("clock", "96.5", "--name", "pit")
    assert answer.out.startswith("96.5 BPM, from the clock of Pointsman\n")
    assert daemon.asked == [("clock", {"bpm": 96.5})]


@pytest.mark.parametrize(("take", "until"), [(False, "that clock runs"), (True, "the recording plays")])
def test_a_tempo_that_does_not_count_yet_is_said(
    daemon: PlayedDaemon, shell: CommandShell, take: bool, until: str
) -> None:
    """While the clock of somebody else runs, or that of a recording."""
    daemon.sets_tempo = "keyboard"
    daemon.status["clock"] = {**STATUS["clock"], "take": take, "beats": None}
    daemon.keeps_tempo = True
    answer = shell.run("clock", "90", "--name", "pit")
    assert answer.out.splitlines()[1:] == [f"90 BPM doesn't count while {until}."]
    assert shell.run("clock", "124", "--name", "pit").out.count("\n") == 1


def test_other_words_are_refused(daemon: PlayedDaemon, shell: CommandShell) -> None:
    """They say what may be written."""
    answer = shell.run("clock", "begin", "--name", "pit")
    assert (answer.code, daemon.asked) == (2, [])
    assert '"begin": write start, continue, stop, or a tempo such as 96' in answer.err


@pytest.mark.parametrize("tempo", ["9.9", "1000.1", "-96", "nan", "inf"])
def test_a_tempo_that_no_clock_has_is_refused(daemon: PlayedDaemon, shell: CommandShell, tempo: str) -> None:
    """With those that it can have."""
    answer = shell.run("clock", "--name", "pit", "--", tempo)
    assert (answer.code, daemon.asked) == (2, [])
    assert f'"{tempo}" isn\'t a tempo of a clock: write 10 to 1000 BPM' in answer.err


def test_a_tap(daemon: PlayedDaemon, shell: CommandShell) -> None:
    """Once, where nobody is there to press Enter, or where that is wanted."""
    answer = shell.run("tap", "--once", "--name", "pit")
    assert (answer.code, answer.out) == (0, "124 BPM, from the clock of Pointsman\n")
    assert shell.run("tap", "--name", "pit", "--json").data["clock"]["bpm"] == 124
    assert daemon.asked == [("tap", {}), ("tap", {})]


@pytest.mark.parametrize(
    ("take", "line"),
    [
        (False, "124 BPM, from the clock of keyboard. Taps don't count while that clock runs"),
        (True, "124 BPM, from the recording that plays as keyboard. Taps don't count while the recording plays"),
    ],
)
def test_a_tap_that_does_not_count_says_so(daemon: PlayedDaemon, shell: CommandShell, take: bool, line: str) -> None:
    """While the clock of somebody else runs, or that of a recording."""
    daemon.sets_tempo = "keyboard"
    daemon.status["clock"] = {**STATUS["clock"], "take": take}
    assert shell.run("tap", "--once", "--name", "pit").out == f"{line}\n"


def test_enter_taps(daemon: PlayedDaemon, shell: CommandShell, monkeypatch: pytest.MonkeyPatch) -> None:
    """Each time; that a daemon runs is known before the first."""
    monkeypatch.setattr(sys, "stdin", Terminal("\n\n\n"))
    answer = shell.run("tap", "--name", "pit")
    assert answer.out.splitlines() == [
        "Press Enter on each beat; Ctrl-C ends it.",
        *["124 BPM, from the clock of Pointsman"] * 3,
    ]
    assert daemon.asked == [("status", {}), *[("tap", {})] * 3]
