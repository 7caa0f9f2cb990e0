"""`pointsman panic`, `reload` and `switch`, from the command line to a daemon over a real socket."""

from __future__ import annotations

import pytest

from tests.support.command_shell import CommandShell
from tests.support.fake_daemon import PlayedDaemon


def test_panic_silences(daemon: PlayedDaemon, shell: CommandShell) -> None:
    """It says what has been done."""
    answer = shell.run("panic", "--name", "pit")
    assert (answer.code, answer.err) == (0, "")
    assert answer.out.startswith("Silence: all notes ended")
    assert daemon.asked == [("panic", {"every_key": False})]


def test_panic_for_every_key_says_how_long_it_takes(daemon: PlayedDaemon, shell: CommandShell) -> None:
    """2,048 note-offs of 3 bytes, at 320 microseconds a byte (ruling 17)."""
    answer = shell.run("panic", "--every-key", "--name", "pit")
    assert "2.0 s on a DIN cable" in answer.out
    assert daemon.asked == [("panic", {"every_key": True})]
    assert shell.run("panic", "--every-key", "--name", "pit", "--json").data == {"command": "panic", "ok": True}


@pytest.mark.parametrize("outcome", ["applied", "unchanged"])
def test_a_reload_that_is_fine(daemon: PlayedDaemon, shell: CommandShell, outcome: str) -> None:
    """What the daemon says about it is printed."""
    daemon.outcome = {"outcome": outcome, "words": ["one", "two"]}
    answer = shell.run("reload", "--name", "pit")
    assert (answer.code, answer.out, answer.err) == (0, "one\ntwo\n", "")
    data = shell.run("reload", "--name", "pit", "--json").data
    assert data == {"command": "reload", "ok": True, "outcome": outcome, "words": ["one", "two"]}


def test_a_reload_that_is_rejected(daemon: PlayedDaemon, shell: CommandShell) -> None:
    """Exit code 1, with what is wrong and what plays now."""
    daemon.outcome = {"outcome": "rejected", "words": ["pit.toml:3: no such port"]}
    answer = shell.run("reload", "--name", "pit")
    assert (answer.code, answer.err) == (1, "")
    assert answer.out == "pit.toml:3: no such port\nThe rules from before play on.\n"
    answer = shell.run("reload", "--name", "pit", "--json")
    assert (answer.code, answer.data["ok"], answer.data["outcome"]) == (1, False, "rejected")


@pytest.mark.parametrize(
    ("text", "value", "words"),
    [
        ("place=garden", "garden", "place is now garden\n"),
        ("place = garden", "garden", "place is now garden\n"),
        ("giant", None, "giant is now on\n"),
        ("key=-3", "-3", "key is now -3\n"),
    ],
)
def test_a_switch_is_turned(
    daemon: PlayedDaemon, shell: CommandShell, text: str, value: str | None, words: str
) -> None:
    """The daemon reads the value, and says how the switch stands then."""
    answer = shell.run("switch", text, "--name", "pit")
    assert (answer.code, answer.out, answer.err) == (0, words, "")
    assert daemon.asked[0] == ("switch", {"name": text.partition("=")[0].strip(), "value": value})


@pytest.mark.usefixtures("daemon")
def test_switches_are_listed(shell: CommandShell) -> None:
    """Without a name, all of them."""
    answer = shell.run("switch", "--name", "pit")
    assert (answer.code, answer.out) == (0, "giant  off\nplace  cave\nkey    -2\n")
    data = shell.run("switch", "--name", "pit", "--json").data
    assert data == {"command": "switch", "ok": True, "switches": {"giant": False, "place": "cave", "key": -2}}


def test_no_switches_is_said(daemon: PlayedDaemon, shell: CommandShell) -> None:
    """An empty page would leave one in doubt."""
    daemon.status["switches"] = {}
    assert shell.run("switch", "--name", "pit").out == "The rule files have no switches.\n"


@pytest.mark.usefixtures("daemon")
def test_what_the_daemon_refuses_is_told(shell: CommandShell) -> None:
    """Its words, and exit code 2."""
    answer = shell.run("switch", "scnee=cave", "--name", "pit")
    assert (answer.code, answer.out) == (2, "")
    assert answer.err == "pointsman switch: no such switch: scnee\n"


@pytest.mark.usefixtures("daemon")
@pytest.mark.parametrize("text", ["", "=cave", "place=", " = "])
def test_a_switch_that_can_not_be_meant(shell: CommandShell, text: str) -> None:
    """It is not sent to the daemon at all."""
    answer = shell.run("switch", text, "--name", "pit")
    assert (answer.code, answer.out) == (2, "")
    assert "write the switch and its state, as in song=chorus" in answer.err
