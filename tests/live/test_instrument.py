"""A real instrument at the end of the cable: what is heard is what the rules say.

The frequencies come from MIDI 1.0 Detailed Specification 4.2.1, p. 48: key 69 is the A at 440 Hz, in equal temperament.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from pathlib import Path

import pytest

from rules.midi.pitch import hertz
from tests.live.daemon import Daemon
from tests.live.fluidsynth import FluidSynth, Recording
from tests.live.peer import Peer
from tests.live.server import JackServer, until

MakeDaemon = Callable[..., Daemon]
MakePeer = Callable[..., Peer]

PORTS = """
[ports]
keys = { input = "Keys:*" }
synth = { output = "organist:*" }
box = { output = "Box:*" }
[devices]
whistle = { port = "synth", channel = 1, setup = ["program 81", "controller volume 127"] }
"""
OCTAVE_UP = PORTS + '[[rules]]\nfrom = "keys"\nsteps = [{ transpose = 12 }]\nto = "whistle"\n'
SPLIT = (
    PORTS
    + '[[rules]]\nfrom = "keys"\n[[rules.zones]]\nnotes = "..B3"\nto = "box"\n'
    + '[[rules.zones]]\nnotes = "C4.."\nto = "whistle"\n'
)
A3, C3, D5 = 57, 48, 74
_TRIES = 8


@pytest.fixture
def jack() -> Iterator[JackServer]:
    """A server with periods that a synthesizer manages on any computer."""
    with JackServer.running(frames=1_024) as server:
        yield server


@pytest.fixture
def synth(jack: JackServer) -> Iterator[FluidSynth]:
    """The instrument."""
    synth = FluidSynth(jack.environment)
    yield synth
    synth.kill()


def recorded(jack: JackServer, synth: FluidSynth, keys: Peer, path: Path, *played: int) -> Recording:
    """What is heard when keys are pressed; once more where a busy computer left gaps in it."""
    for _ in range(_TRIES):
        dropped = jack.dropped
        recorder = synth.record(path)
        keys.play(*[bytes((0x90, key, 127)) for key in played])
        code = recorder.wait()
        keys.play(*[bytes((0x80, key, 64)) for key in played])
        if code == 0 and jack.dropped == dropped:
            break
    return Recording(path)


def test_an_octave_up_sounds_an_octave_higher(
    jack: JackServer, daemon: MakeDaemon, peer: MakePeer, synth: FluidSynth, tmp_path: Path
) -> None:
    """A3 is played, A4 is heard: 440 Hz, and no other pitch is as loud."""
    keys, _ = peer("Keys", "out"), peer("Box", "in")
    daemon(OCTAVE_UP).has_opened("keys", "synth")
    recording = recorded(jack, synth, keys, tmp_path / "heard.wav", A3)
    assert recording.pitch() == pytest.approx(440, abs=1)
    assert recording.loudness(hertz(A3)) < recording.loudness(440) / 50


def test_a_split_sends_only_its_part(
    jack: JackServer, daemon: MakeDaemon, peer: MakePeer, synth: FluidSynth, tmp_path: Path
) -> None:
    """Both hands play; the instrument sounds with the right one alone, the left one goes elsewhere."""
    keys, box = peer("Keys", "out"), peer("Box", "in")
    daemon(SPLIT).has_opened("keys", "synth", "box")
    recording = recorded(jack, synth, keys, tmp_path / "heard.wav", C3, D5)
    assert recording.pitch() == pytest.approx(hertz(D5), abs=1)
    for harmonic in (1, 2, 3):
        assert recording.loudness(harmonic * hertz(C3)) < recording.loudness(hertz(D5)) / 50
    until(lambda: bytes((0x90, C3, 127)) in box.heard, f"the left hand; there came {box.heard}")
    assert bytes((0x90, D5, 127)) not in box.heard
