"""`learn` and `soundcheck` in processes of their own, on a real JACK server."""

from __future__ import annotations

import json
import signal
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest

from tests.live.peer import Peer
from tests.live.program import Program
from tests.live.server import JackServer, until
from tests.live.thru import Thru

MakePeer = Callable[..., Peer]

RIG = """
[ports]
rack = { output = "Rack" }
[devices]
organ = { port = "rack", channel = 4, setup = "program 17" }
kit   = { port = "rack", channel = 10 }
"""


@pytest.fixture
def command(jack: JackServer) -> Iterator[Callable[..., Program]]:
    """Start a command."""
    started: list[Program] = []

    def start(*arguments: str) -> Program:
        started.append(Program(jack.environment, "router", *arguments, "--backend", "jack"))
        return started[-1]

    yield start
    for one in started:
        one.kill()


@pytest.fixture
def rig(tmp_path: Path) -> str:
    """The path of the rule file."""
    (tmp_path / "rig.toml").write_text(RIG, encoding="utf-8")
    return str(tmp_path / "rig.toml")


def test_what_is_pressed_is_told(peer: MakePeer, command: Callable[..., Program]) -> None:
    """Also on a device that is plugged in while it listens; Ctrl-C is the end, and no failure."""
    stage = peer("Pit Keyboard", "out")
    learn = command("learn")
    until(lambda: "Listening to Pit Keyboard:port" in learn.lines, "the first device is heard")
    pads = peer("Pad Box", "out")
    until(lambda: "Listening to Pad Box:port" in learn.lines, "the second device is heard")
    stage.play(b"\x90\x3c\x50", 0.05, b"\x80\x3c\x40")
    until(lambda: "Pit Keyboard:port: note C4 (key 60), channel 1: velocity 80" in learn.lines, "the key is told")
    pads.play(b"\xc2\x05")
    until(lambda: '  program_6 = { from = "pad_box", channel = 3, program = 6 }' in learn.lines, "the pad is told")
    assert learn.leave() == 0


def test_a_daemon_that_runs_is_no_instrument(
    peer: MakePeer, thru: Callable[..., Thru], command: Callable[..., Program]
) -> None:
    """What it sends, to itself or to others, is not shown: only what was played is to be learned."""
    thru("in:keys=Pit Key*", "out:take=!take")
    learn = command("learn")
    stage = peer("Pit Keyboard", "out")
    until(lambda: "Listening to Pit Keyboard:port" in learn.lines, "the device is heard")
    stage.play(b"\xc2\x05")
    until(lambda: "Pit Keyboard:port: program 6, channel 3" in learn.lines, "what was played is shown")
    assert not any("heartbeat" in line or "take:take" in line for line in learn.lines)


def test_each_device_plays(peer: MakePeer, command: Callable[..., Program], rig: str) -> None:
    """What the device wants first, then its note, and the end of its note."""
    rack = peer("Rack", "in")
    check = command("soundcheck", rig, "--seconds", "0.1", "--json")
    until(lambda: check.code is not None, "all were played")
    rack.hears([b"\xc3\x10", b"\x93\x3c\x28", b"\x83\x3c\x40", b"\x99\x26\x28", b"\x89\x26\x40"])
    until(lambda: check.lines[-1:] == ["}"], "all is told")
    told = json.loads("\n".join(check.lines))
    assert [(one["device"], one["computer_port"], one["state"]) for one in told["devices"]] == [
        ("organ", "Rack:port", "played"),
        ("kit", "Rack:port", "played"),
    ]


@pytest.mark.parametrize("number", [signal.SIGINT, signal.SIGTERM, signal.SIGHUP])
def test_however_it_is_ended_the_note_ends(
    peer: MakePeer, command: Callable[..., Program], rig: str, number: signal.Signals
) -> None:
    """Ctrl-C, kill, a closed terminal."""
    rack = peer("Rack", "in")
    check = command("soundcheck", rig, "--seconds", "60")
    until(lambda: len(rack.heard) == 2, "the first note sounds")
    assert check.leave(number) == 130
    rack.hears([b"\xc3\x10", b"\x93\x3c\x28", b"\x83\x3c\x40"])
