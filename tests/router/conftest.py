"""What the tests of the router share."""

from __future__ import annotations

import tempfile
from collections.abc import Iterator
from pathlib import Path
from typing import NoReturn

import pytest

from router.midi import backend_choice, jack_backend
from router.midi.alsa import kernel_calls
from rules.errors import MachineError
from tests.support.command_shell import CommandShell
from tests.support.fake_daemon import PlayedDaemon
from tests.support.fake_rtmidi import Library


@pytest.fixture
def shell(tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]) -> CommandShell:
    """A folder of its own, the current one, in which the command is run."""
    monkeypatch.chdir(tmp_path)
    return CommandShell(tmp_path, capsys)


@pytest.fixture
def daemon(monkeypatch: pytest.MonkeyPatch) -> Iterator[PlayedDaemon]:
    """A running daemon of the name pit."""
    with tempfile.TemporaryDirectory() as folder:  # the names of sockets must be short
        monkeypatch.setenv("XDG_RUNTIME_DIR", folder)
        played = PlayedDaemon()
        played.control.start()
        yield played
        played.control.stop()


def no_wires() -> NoReturn:
    """The JACK library can't be asked for more than python-rtmidi does."""
    raise MachineError("no library")


@pytest.fixture
def library(monkeypatch: pytest.MonkeyPatch) -> Library:
    """The library on a computer with CoreMIDI, JACK and Windows MM alike."""
    made = Library(1, 3, 4)
    monkeypatch.setattr(backend_choice, "_library", lambda: made)
    monkeypatch.setattr(kernel_calls, "DEVICE", "/nowhere")
    monkeypatch.setattr(jack_backend, "JackWires", no_wires)
    return made
