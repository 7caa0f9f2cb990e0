"""`ports`, `listen` and `send` on a real JACK server."""

from __future__ import annotations

import json
import subprocess
import sys
from collections.abc import Callable
from pathlib import Path

from tests.live.peer import Peer
from tests.live.server import JackServer, until

ROOT = Path(__file__).parents[2]
MakePeer = Callable[..., Peer]


def command(jack: JackServer, *arguments: str) -> subprocess.CompletedProcess[str]:
    """Run a command to its end."""
    line = [sys.executable, "-m", "router", *arguments]
    return subprocess.run(line, cwd=ROOT, env=jack.environment, capture_output=True, text=True, check=False)


def test_ports_are_listed(jack: JackServer, peer: MakePeer) -> None:
    """With nothing of ours among them, and without a word from the libraries."""
    peer("Pit Keyboard", "out"), peer("Rack", "in")
    done = command(jack, "ports", "--json", "--backend", "jack")
    assert (done.returncode, done.stderr) == (0, "")
    told = json.loads(done.stdout)
    assert [port["name"] for port in told["inputs"]] == ["Pit Keyboard:port"]
    assert [port["name"] for port in told["outputs"]] == ["Rack:port"]


def test_what_arrives_is_told(jack: JackServer, peer: MakePeer) -> None:
    """As long as it was asked to."""
    stage = peer("Pit Keyboard", "out")
    line = [sys.executable, "-m", "router", "listen", "Pit Key*", "--count", "2"]
    listening = subprocess.Popen(line, cwd=ROOT, env=jack.environment, stdout=subprocess.PIPE, text=True)
    assert listening.stdout is not None
    assert listening.stdout.readline() == "Listening to Pit Keyboard:port\n"
    stage.play(b"\x90\x3c\x64", b"\x80\x3c\x40")
    lines = listening.stdout.read().splitlines()
    listening.stdout.close()
    assert listening.wait() == 0
    assert [line.partition("  ")[0] for line in lines] == ["note-on 1 C4 100", "note-off 1 C4 64"]
    assert all(line.endswith("  Pit Keyboard:port") for line in lines)


def test_a_cable_is_tried(jack: JackServer, peer: MakePeer) -> None:
    """The note arrives and ends; a port that isn't there is an error, with what there is to do."""
    rack = peer("Rack", "in")
    done = command(jack, "send", "Rack*", "note-on", "1", "C4", "60", "--hold", "0.1s")
    assert (done.returncode, done.stderr) == (0, "")
    assert done.stdout == "to Rack:port:\n  note-on 1 C4 60\n  note-off 1 C4 64\n"
    until(lambda: rack.heard == [b"\x90\x3c\x3c", b"\x80\x3c\x40"], "the note and its end")
    done = command(jack, "send", "Organ", "start")
    assert done.returncode == 2
    assert '"pointsman ports" lists all ports' in done.stderr


def test_a_server_that_does_not_run_is_told() -> None:
    """In words, and at once."""
    server = JackServer()
    try:
        done = command(server, "ports", "--backend", "jack")
    finally:
        server.close()
    assert done.returncode == 2
    assert "pointsman ports: there is no MIDI system to use: ALSA needs the kernel module" in done.stderr
    assert len(done.stderr.splitlines()) == 1
