"""Recording on a real sound server: the daemon and ports, between real processes, and what a kill leaves."""

from __future__ import annotations

import json
import signal
import subprocess
import sys
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import pytest

from router.recording.takes import left_behind
from tests.live.peer import Peer
from tests.live.program import ROOT, Program
from tests.live.server import JackServer, until
from tests.support import midicsv, mido_reader

RULES = """
[ports]
keys = { input = "Pit Keyboard*" }
rack = { output = "Rack*" }
[[rules]]
name = "octave up"
from = "keys"
steps = [{ transpose = 12 }]
to = "rack"
"""
ON, OFF = b"\x90\x3c\x64", b"\x80\x3c\x40"
UP = [b"\x90\x48\x64", b"\x80\x48\x40"]


def strikes(times: int) -> list[bytes | float]:
    """A key struck so many times."""
    one: list[bytes | float] = [ON, 0.001, OFF, 0.001]
    return one * times


class Daemon(Program):
    """`pointsman run` with the rules, between a keyboard and a rack."""

    def __init__(self, jack: JackServer, folder: Path, stage: Peer, rack: Peer) -> None:
        self.folder, self.stage, self.rack = folder, stage, rack
        self.environment = {**jack.environment, "XDG_RUNTIME_DIR": str(folder)}
        (folder / "rules.toml").write_text(RULES)
        arguments = ("run", str(folder / "rules.toml"), "--backend", "jack", "--record", str(folder / "takes"))
        super().__init__(self.environment, "router", *arguments)
        until(lambda: self.journals, "the daemon records")
        until(lambda: {"open"} == {port["state"] for port in self.ask("status")["ports"]}, "the ports are open")

    @property
    def journals(self) -> list[Path]:
        """What is being recorded, or was."""
        return left_behind(self.folder / "takes")

    def run(self, *arguments: str) -> subprocess.CompletedProcess[str]:
        """Another command beside it."""
        command = [sys.executable, "-m", "router", *arguments]
        return subprocess.run(command, cwd=ROOT, env=self.environment, capture_output=True, text=True, check=False)

    def ask(self, *arguments: str) -> dict[str, Any]:
        """The answer of another command, as data; nothing while the daemon isn't there yet."""
        answer: dict[str, Any] = json.loads(self.run(*arguments, "--json").stdout)
        return answer if answer["ok"] else {"ports": []}

    def play(self, times: int) -> None:
        """Notes from the keyboard, all the way to the rack."""
        self.stage.play(*strikes(times))
        until(lambda: len(self.rack.lines) == 2 * times, "the rack hears the notes")


@pytest.fixture
def daemon(jack: JackServer, peer: Callable[..., Peer], tmp_path: Path) -> Iterator[Daemon]:
    """A daemon that records all the time."""
    daemon = Daemon(jack, tmp_path, peer("Pit Keyboard", "out"), peer("Rack", "in"))
    yield daemon
    daemon.kill()


def notes(path: Path) -> list[tuple[int, str, int | bytes]]:
    """Track, kind and key of the notes in a .mid file, as two independent readers see them."""
    data = path.read_bytes()
    events = midicsv.events(data)
    assert events == mido_reader.events(data)
    return [(event.track, event.kind, event.data[0]) for event in events if event.kind.startswith("Note")]


def expected(times: int) -> list[tuple[int, str, int]]:
    """The notes of so many strikes: what was played, and what the rack was sent."""
    return [(track, kind, key) for track, key in ((2, 60), (3, 72)) for kind in ("Note_on_c", "Note_off_c") * times]


def test_a_killed_daemon_has_lost_at_most_the_last_second(daemon: Daemon) -> None:
    """kill -9 a second after the last note: the next start makes a take with all of them."""
    daemon.play(100)
    daemon.stage.play(b"\x90\x40\x01")
    until(lambda: b"\x90\x4c\x01" in daemon.journals[0].read_bytes(), "the last note is in the journal")
    daemon.kill()
    told = daemon.ask("record", "--recover", str(daemon.folder / "takes"))
    (take,) = (Path(name) for name in told["files"])
    found = notes(take)
    assert [note for note in found if note[2] in (60, 72)] == expected(100)
    assert [note[1:] for note in found if note[2] in (64, 76)] == [
        ("Note_on_c", 64),
        ("Note_off_c", 64),
        ("Note_on_c", 76),
        ("Note_off_c", 76),
    ]


def test_a_daemon_that_leaves_saves_its_take(daemon: Daemon) -> None:
    """Inputs and outputs, a track each; no journal is left."""
    daemon.play(20)
    daemon.leave(signal.SIGTERM)
    (take,) = (daemon.folder / "takes").iterdir()
    assert notes(take) == expected(20)


def test_the_take_that_nobody_recorded(daemon: Daemon) -> None:
    """The daemon remembers; and it can say what has just happened."""
    daemon.play(10)
    told = daemon.ask("record", "--last", "5m", "-o", str(daemon.folder / "last.mid"))
    assert (told["messages"], told["held"]) == (40, 0)
    assert notes(daemon.folder / "last.mid") == expected(10)
    daemon.stage.play(ON)
    until(lambda: daemon.ask("trace", "--last")["held"], "a note is held")
    lately = daemon.ask("trace", "--last")
    assert lately["certain"]
    assert lately["happened"][-1]["why"][0]["text"] == 'rule "octave up": matches'
    assert lately["held"][0]["lets_go"] == [{"port": "rack", "message": "note-off 1 C5 64", "bytes": "80 48 40"}]


def test_a_port_is_recorded_without_a_daemon(jack: JackServer, peer: Callable[..., Peer], tmp_path: Path) -> None:
    """Ctrl-C ends it and saves the take, named after the port."""
    stage = peer("Pit Keyboard", "out")
    take = tmp_path / "take.mid"
    arguments = ("record", "--from", "pit key*", "--backend", "jack", "-o", str(take))
    program = Program(jack.environment, "router", *arguments)
    try:
        journal = tmp_path / "take.mid.journal"
        until(lambda: journal.exists() and b"Pit Keyboard" in journal.read_bytes(), "the port is open")
        stage.play(*strikes(50))
        until(lambda: journal.read_bytes().count(OFF) == 50, "the notes are recorded")
        program.leave()
        assert program.code == 0
    finally:
        program.kill()
    assert notes(take) == [(2, kind, 60) for kind in ("Note_on_c", "Note_off_c") * 50]
    assert [event.data for event in midicsv.events(take.read_bytes()) if event.kind == "Title_t"] == [
        (b"Pit Keyboard:port in",)
    ]
