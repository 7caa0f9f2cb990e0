"""Takes that are played in time on a real sound server, by the daemon and without one, and what a kill leaves."""

from __future__ import annotations

import json
import signal
from collections.abc import Callable, Iterator, Mapping
from fractions import Fraction
from pathlib import Path

import pytest

from rules.compiler.compiler import compile_rules
from rules.midi.messages import CLOCK
from rules.midi.neutral import ends_held
from rules.rulefile.reading import read_rules
from rules.smf.midi_file import MidiFile, read
from rules.smf.take_playing import played
from rules.smf.tempo import tempo_map
from rules.smf.track_events import META, SET_TEMPO
from tests.live.daemon import NAME, Daemon
from tests.live.peer import Peer
from tests.live.program import ROOT, Program
from tests.live.server import JackServer, until
from tests.support.live_rig import silent
from tests.support.played_files import BAR, OFF, ON, file_bytes, track_of

RULES = """
[ports]
take = { input = "Recorder*" }
tune = { output = "Tune*" }
band = { output = "Band*" }
[[rules]]
name = "tune"
from = "take"
match = { channel = 11 }
steps = [{ transpose = -12 }, { velocity = { limit = "30..110" } }]
to = "tune"
[[rules]]
name = "all the rest"
from = "take"
otherwise = true
to = "band"
"""
HURRY = 16
"""How many times faster the demo recording is played here."""


class Command(Program):
    """`pointsman play`."""

    def __init__(self, environment: Mapping[str, str], *arguments: str) -> None:
        super().__init__({**environment, "COLUMNS": "80"}, "router", "play", *arguments)


@pytest.fixture
def play(jack: JackServer) -> Iterator[Callable[..., Command]]:
    """Play a take: `play("take.mid", "--as", "keys")`."""
    started: list[Command] = []

    def begin(*arguments: str) -> Command:
        started.append(Command(jack.environment, *arguments))
        return started[-1]

    yield begin
    for one in started:
        one.kill()


def hurried(file: MidiFile) -> bytes:
    """The file with each tempo so many times as fast."""
    data = bytearray(file.data)
    for track in file.tracks:
        for _, _, _, end, message in file.events(track):
            if message[0] == META and message[1] == SET_TEMPO:
                at = track.body + end - 3
                data[at : at + 3] = (int.from_bytes(data[at : at + 3]) // HURRY).to_bytes(3)
    return bytes(data)


def rewritten(file: MidiFile, rules: str) -> dict[str, list[bytes]]:
    """What `rewrite` makes of a file, by output, in the order of playing."""
    ruleset = read_rules([("rules.toml", rules.encode())])
    pipeline = compile_rules(ruleset)
    found: dict[str, list[bytes]] = {name: [] for name in pipeline.ports}
    times = tempo_map(file, None, Fraction(120))
    for sent in played(file, [0] * len(file.tracks), pipeline, times):
        found[pipeline.ports[sent.port]].append(sent.message)
    return found


def music(peer: Peer) -> list[bytes]:
    """What a peer heard, without clock and transport."""
    return [message for message in peer.heard if message[0] < CLOCK]


@pytest.fixture
def hold(tmp_path: Path) -> str:
    """A take that holds a note and a pedal for as long as it plays: an hour."""
    path = tmp_path / "hold.mid"
    events = [(0, ON), (0, b"\xb0\x40\x7f"), (BAR * 1800, OFF)]
    path.write_bytes(file_bytes(track_of(events, BAR * 1800)))
    return str(path)


def test_the_demo_recording_sounds_as_it_is_rewritten(
    daemon: Callable[..., Daemon], peer: Callable[..., Peer], play: Callable[..., Command], tmp_path: Path
) -> None:
    """The same messages an output, in the same order; then what the file never ends is ended, and nothing sounds."""
    tune, band = peer("Tune", "in"), peer("Band", "in")
    router = daemon(RULES)
    router.has_opened("tune", "band")
    file = read((ROOT / "examples/recording.mid").read_bytes())
    path = tmp_path / "hurried.mid"
    path.write_bytes(hurried(file))
    command = play(str(path), "--as", "take", "--name", NAME, "--json")
    assert command.ends() == 0
    told = json.loads("\n".join(command.lines))
    assert (told["ok"], told["takes"][0]["nowhere"]) == (True, 0)
    wanted = rewritten(file, RULES)
    until(lambda: band.lines[-1:] == ["fc"], "the stop at the end")
    until(lambda: len(tune.lines) >= len(wanted["tune"]), "the whole tune")
    for listener, expected in ((tune, wanted["tune"]), (band, wanted["band"])):
        heard = music(listener)
        assert heard[: len(expected)] == expected
        assert all(map(ends_held, heard[len(expected) :]))
        assert silent(heard)
    assert [message for message in band.heard if message in (b"\xfa", b"\xfc")] == [b"\xfa", b"\xfc"]
    assert router.ask("status")["playing"] is None
    assert router.ask("status")["held"] == 0


@pytest.mark.parametrize("number", [signal.SIGKILL, signal.SIGINT, signal.SIGTERM])
def test_however_the_command_ends_nothing_sounds(
    number: signal.Signals,
    daemon: Callable[..., Daemon],
    peer: Callable[..., Peer],
    play: Callable[..., Command],
    hold: str,
) -> None:
    """The daemon ends what the take held: note and pedal."""
    band = peer("Band", "in")
    router = daemon(RULES)
    router.has_opened("band")
    command = play(hold, "--as", "take", "--name", NAME, "--no-clock")
    band.hears([ON, b"\xb0\x40\x7f"])
    assert router.ask("status")["playing"]["file"] == hold
    command.signal(number)
    assert command.ends() == (-signal.SIGKILL if number == signal.SIGKILL else 0)
    band.hears([ON, b"\xb0\x40\x7f", OFF, b"\xb0\x40\x00"])
    until(lambda: router.ask("status")["playing"] is None, "it ends")


def test_rules_play_without_a_daemon(
    jack: JackServer, peer: Callable[..., Peer], play: Callable[..., Command], hold: str, tmp_path: Path
) -> None:
    """The command opens the ports itself; Ctrl-C ends what sounds, and the keyboard plays along meanwhile."""
    band, keyboard = peer("Band", "in"), peer("Recorder", "out")
    rules = tmp_path / "rules.toml"
    rules.write_text(RULES)
    command = play(hold, "--as", "take", "--rules", str(rules), "--backend", "jack", "--no-clock")
    band.hears([ON, b"\xb0\x40\x7f"])
    keyboard.play(b"\x90\x40\x64")
    band.hears([ON, b"\xb0\x40\x7f", b"\x90\x40\x64"])
    command.signal(signal.SIGINT)
    assert command.ends() == 0
    until(lambda: silent(band.heard), f"silence; it heard {band.heard}")


def test_a_take_follows_the_clock_of_a_sequencer(
    daemon: Callable[..., Daemon], peer: Callable[..., Peer], play: Callable[..., Command], tmp_path: Path
) -> None:
    """It waits for the start, and plays with the clock messages that come; then the command ends."""
    band, sequencer = peer("Band", "in"), peer("Recorder", "out")
    router = daemon(RULES)
    router.has_opened("band", "take")
    path = tmp_path / "beat.mid"
    path.write_bytes(file_bytes(track_of([(0, ON), (48, OFF)], 96)))
    command = play(str(path), "--as", "take", "--tempo", "clock", "--name", NAME)
    until(lambda: router.ask("status")["playing"] is not None, "it waits")
    sequencer.play(b"\xf8", 0.01, b"\xf8", 0.01)
    until(lambda: b"\xf8" in band.heard, "the clock is heard")
    assert music(band) == []
    clock: list[bytes | float] = [b"\xf8", 0.01]
    sequencer.play(b"\xfa", *clock * 30)
    assert command.ends() == 0
    until(lambda: music(band) == [ON, OFF], f"both notes; there is {band.heard}")
