"""What the shell offers when the Tab key is pressed: commands, options, and names of what runs."""

from __future__ import annotations

import os
import subprocess
import sys
import tempfile
from collections.abc import Iterator
from pathlib import Path

import pytest

from router.cli.parsing import BACKEND_NAMES
from router.midi.backend_choice import BACKENDS
from tests.support.fake_daemon import PlayedDaemon

ROOT = Path(__file__).parents[3]


def offered(line: str) -> list[str]:
    """What is offered at the end of a line; the answer comes on the descriptor that the shell waits at."""
    read, write = os.pipe()
    environment = {
        "_ARGCOMPLETE": "1",
        "_ARGCOMPLETE_IFS": "\n",
        "_ARGCOMPLETE_SUPPRESS_SPACE": "1",
        "COMP_LINE": line,
        "COMP_POINT": str(len(line)),
        "COMP_TYPE": "9",
    }
    done = subprocess.run(
        ["bash", "-c", f"exec 8>&{write}; exec {sys.executable} -m router"],
        cwd=ROOT,
        env={**os.environ, **environment},
        pass_fds=[write],
        capture_output=True,
        check=False,
    )
    os.close(write)
    with os.fdopen(read) as answer:
        words = answer.read().split()
    assert done.returncode == 0
    return words


@pytest.mark.parametrize(
    ("line", "words"),
    [
        ("pointsman pan", ["panic"]),
        ("pointsman so", ["songs", "soundcheck", "song"]),
        ("pointsman rewrite --dr", ["--dry-run"]),
        ("pointsman status --wat", ["--watch"]),
        ("pointsman panic --ev", ["--every-key"]),
        ("pointsman switch --na", ["--name"]),
        ("pointsman learn --ba", ["--backend"]),
        ("pointsman soundcheck --sec", ["--seconds"]),
    ],
)
def test_commands_and_options(line: str, words: list[str]) -> None:
    """The only one that begins so; the command itself is not run."""
    assert offered(line) == words


@pytest.fixture
def daemon(monkeypatch: pytest.MonkeyPatch) -> Iterator[PlayedDaemon]:
    """A running daemon of the name pit."""
    with tempfile.TemporaryDirectory() as folder:
        monkeypatch.setenv("XDG_RUNTIME_DIR", folder)
        played = PlayedDaemon("pit")
        played.control.start()
        yield played
        played.control.stop()


@pytest.mark.usefixtures("daemon")
@pytest.mark.parametrize(
    ("line", "words"),
    [
        ("pointsman status --name ", ["pit"]),
        ("pointsman switch --name pit ", ["giant", "place", "key"]),
        ("pointsman switch --name pit pl", ["place"]),
    ],
)
def test_names_of_what_runs(line: str, words: list[str]) -> None:
    """Daemons by name, and the switches of the one that is asked."""
    assert [word for word in offered(line) if not word.startswith("-")] == words


def test_without_a_daemon_nothing_is_offered(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """And nothing is said in the midst of a line."""
    tmp_path.chmod(0o700)
    monkeypatch.setenv("XDG_RUNTIME_DIR", str(tmp_path))
    assert offered("pointsman switch sc") == []


def test_the_midi_systems_of_the_command_line_are_those_there_are() -> None:
    """They are written down twice, since reading a command line imports none."""
    assert BACKEND_NAMES == BACKENDS
