"""`pointsman listen`: what arrives, in words."""

from __future__ import annotations

import json
from collections.abc import Sequence

import pytest

from router.cli.incoming_report import ListenSettings, listen
from router.cli.listen import KINDS
from rules.listening.incoming import HEARD_KINDS
from tests.support.command_shell import CommandShell
from tests.support.fake_clock import SECOND_NS
from tests.support.fake_midi_system import FakeBackend, FakeInput, Hub
from tests.support.timed_actions import TimedActions


class ListenRig(TimedActions):
    """`listen` at a computer with a keyboard and pads."""

    def __init__(self) -> None:
        super().__init__(step=0.01, end_s=5)
        self.hub = Hub()
        self.stage = self.hub.plug("Pit Keyboard:MIDI 1", receives=False)
        self.pads = self.hub.plug("Pads", receives=False)
        self.backend = FakeBackend(self.hub)

    def listen(self, settings: ListenSettings) -> int:
        """Listen until the end."""
        return listen(settings, self.backend, self.time.clock)


class StampedInput(FakeInput):
    """An input whose messages come so many seconds after one another, says the system."""

    gap = since = 0.0

    def get_message(self) -> tuple[Sequence[int], float] | None:
        """The next one with its time."""
        received = super().get_message()
        if received is None:
            return None
        since, self.since = self.since, self.gap
        return received[0], since


class Stamped(FakeBackend):
    """A system that tells the seconds between messages."""

    def __init__(self, hub: Hub, gap: float) -> None:
        super().__init__(hub)
        self.gap = gap

    def open_input(self, name: str, label: str, named: bool = False) -> FakeInput:
        """An input with times."""
        opened = StampedInput(self._device(name))
        opened.gap = self.gap
        return opened


@pytest.fixture
def rig() -> ListenRig:
    """`listen` at a computer with a keyboard and pads."""
    return ListenRig()


def test_ports_of_a_running_daemon_are_marked(rig: ListenRig, capsys: pytest.CaptureFixture[str]) -> None:
    """They may be listened to, and nobody takes them for a keyboard."""
    rig.backend.client = "pointsman-listen"
    rack = rig.hub.plug("pointsman rack:rack", receives=False)
    rig.play(1, rack, "note-on 1 C4 100")
    assert rig.listen(ListenSettings(("pointsman*",))) == 0
    met, note = capsys.readouterr().out.splitlines()
    assert met == "Listening to pointsman rack:rack (Pointsman's own)"
    assert note.startswith("note-on 1 C4 100 ")
    assert note.endswith("own)")


def test_messages_are_told_a_line_each(rig: ListenRig, capsys: pytest.CaptureFixture[str]) -> None:
    """The message first, then bytes and the time since the one before, its port last; Ctrl-C is no failure."""
    rig.play(1, rig.stage, "note-on 1 C4 100")
    rig.play(1.5, rig.pads, "controller 10 sustain 127")
    assert rig.listen(ListenSettings(bytes=True)) == 0
    first, note, pedal = capsys.readouterr().out.splitlines()
    assert first == "Listening to Pit Keyboard:MIDI 1, Pads"
    assert note == "note-on 1 C4 100                         90 3C 64             Pit Keyb...:MIDI 1"
    assert pedal == "controller 10 sustain 127                B9 40 7F  +500.0 ms  Pads"


@pytest.mark.parametrize("shows_bytes", [False, True])
def test_lines_fit_a_screen_of_80_columns(
    rig: ListenRig, capsys: pytest.CaptureFixture[str], shows_bytes: bool
) -> None:
    """Long names of ports lose their middle, long sysex its end; the first line has the whole name."""
    name = "Pit Interface with a very long name:Pit Interface MIDI 8"
    device = rig.hub.plug(name, receives=False)
    rig.play(1, device, "controller 16 121 0", "sysex F0 7D 01 02 03 04 05 06 07 08 09 F7")
    rig.play(1.5, device, "song-position 16383", "pitch-bend 16 -8192", "controller 16 portamento-time-lsb 127")
    rig.listen(ListenSettings((name,), bytes=shows_bytes))
    first, *lines = capsys.readouterr().out.splitlines()
    assert first == f"Listening to {name}"
    assert len(lines) == 5
    assert {len(line) for line in lines} == {80}
    assert all(line.endswith("MIDI 8") and "Pit I" in line for line in lines)


@pytest.mark.parametrize(
    ("seconds", "told"), [(0.5, "+500.0 ms"), (0.95, "+950.0 ms"), (1.0, "+1.0 s"), (19, "+19.0 s")]
)
def test_times_are_in_milliseconds_below_a_second(
    rig: ListenRig, capsys: pytest.CaptureFixture[str], seconds: float, told: str
) -> None:
    """And in seconds above."""
    rig.play(1, rig.pads, "start")
    rig.play(1 + seconds, rig.pads, "stop")
    rig.end_s = 30
    rig.listen(ListenSettings())
    assert capsys.readouterr().out.splitlines()[-1].split() == ["stop", *told.split(), "Pads"]


def test_times_are_those_of_the_system(rig: ListenRig, capsys: pytest.CaptureFixture[str]) -> None:
    """Two messages that are found at one look came one after the other; far off it is our own clock that counts."""
    rig.play(1, rig.stage, "note-on 1 C4 100", "note-on 1 E4 100")
    rig.play(20, rig.stage, "note-off 1 C4 64")
    rig.end_s = 30
    listen(ListenSettings(("Pit Key*",)), Stamped(rig.hub, 0.003), rig.time.clock)
    lines = capsys.readouterr().out.splitlines()[1:]
    assert [line[39:50].strip() for line in lines] == ["", "+3.0 ms", "+19.0 s"]


@pytest.mark.parametrize(
    ("settings", "expected"),
    [
        (ListenSettings(), ["note-on", "note-off", "controller", "sysex", "start"]),
        (ListenSettings(only=("note",)), ["note-on", "note-off"]),
        (ListenSettings(without=("note", "transport")), ["controller", "sysex"]),
        (ListenSettings(channels=frozenset({10})), ["note-off"]),
        (ListenSettings(only=("note",), channels=frozenset({1, 2})), ["note-on"]),
        (ListenSettings(("Pads",)), []),
        (ListenSettings(most=2), ["note-on", "note-off"]),
        (ListenSettings(duration_s=0.5), []),
    ],
)
def test_filters(
    rig: ListenRig, capsys: pytest.CaptureFixture[str], settings: ListenSettings, expected: list[str]
) -> None:
    """By port, kind and channel, as long as was asked."""
    texts = ("note-on 1 C4 100", "note-off 10 C4 64", "controller 1 7 5", "sysex F0 7D F7", "start")
    rig.play(1, rig.stage, *texts)
    rig.listen(settings)
    lines = [line for line in capsys.readouterr().out.splitlines() if not line.startswith("Listening")]
    assert [line.split()[0] for line in lines] == expected
    assert all(line.endswith("  Pit Keyboard:MIDI 1") for line in lines)


def test_ticking_is_folded(rig: ListenRig, capsys: pytest.CaptureFixture[str]) -> None:
    """A second of clock is one line; it is none where nobody asked for it."""
    for at in range(100):
        rig.play(1 + at * 0.02, rig.stage, "clock")
    listen(ListenSettings(), Stamped(rig.hub, 0.02), rig.time.clock)
    lines = capsys.readouterr().out.splitlines()[1:]
    assert [line.split("  ")[0] for line in lines] == ["clock at 125.0 BPM", "clock ended"]
    assert all(line.endswith("  Pit Keyboard:MIDI 1") for line in lines)
    rig.time.now = 100 * SECOND_NS
    for at in range(100):
        rig.play(1 + at * 0.02, rig.stage, "clock")
    rig.listen(ListenSettings(without=("clock",)))
    assert capsys.readouterr().out.splitlines() == ["Listening to Pit Keyboard:MIDI 1, Pads"]


def test_ports_come_and_go(rig: ListenRig, capsys: pytest.CaptureFixture[str]) -> None:
    """What is plugged in later is heard; one that isn't there is waited for."""
    rig.at(1, lambda: rig.play(1.2, rig.hub.plug("Organ"), "note-on 1 C4 100"))
    rig.at(1.9, lambda: rig.hub.find("Organ").play(b"\x90\x3c\x64"))
    rig.listen(ListenSettings(("Organ",)))
    lines = capsys.readouterr().out.splitlines()
    assert lines[:2] == ["There is no such port yet. Waiting for it.", "Listening to Organ"]
    assert (lines[2].split()[0], lines[2].split()[-1]) == ("note-on", "Organ")


def test_a_port_of_our_own(rig: ListenRig, capsys: pytest.CaptureFixture[str]) -> None:
    """Made for other programs to send to; alone unless ports are named as well."""
    rig.at(1, lambda: rig.hub.find("pointsman:test").hear(b"\x90\x3c\x64"))
    rig.play(1, rig.stage, "note-on 1 D4 100")
    rig.listen(ListenSettings(virtual=("test",)))
    lines = capsys.readouterr().out.splitlines()
    assert lines == ["Listening to test", "note-on 1 C4 100                                    test"]


def test_data_for_programs(rig: ListenRig, capsys: pytest.CaptureFixture[str]) -> None:
    """A line of JSON each, readings included; bytes that are no message have no words."""
    rig.play(1, rig.stage, "note-on 1 C4 100", "active-sensing")
    rig.at(1.5, lambda: rig.stage.play(b"\x90\x3c"))
    rig.listen(ListenSettings(json=True))
    told = [json.loads(line) for line in capsys.readouterr().out.splitlines()]
    assert {key: told[0][key] for key in ("since", "port", "message", "bytes")} == {
        "since": 0.0,
        "port": "Pit Keyboard:MIDI 1",
        "message": "note-on 1 C4 100",
        "bytes": "90 3C 64",
    }
    assert [one.get("reading") for one in told] == [None, "active sensing", None, "active sensing ended"]
    assert (told[2]["message"], told[2]["bytes"], told[1]["bpm"]) == ("", "90 3C", None)


@pytest.mark.parametrize(
    ("arguments", "words"),
    [
        (["--only", "keys"], '"keys" isn\'t a kind of message: write one of note, note-on,'),
        (["--channel", "17"], '"17" isn\'t a channel: write 1 to 16, or a range such as 1..4'),
        (["--channel", "4..2"], '"4..2" isn\'t a channel'),
        (["--count", "0"], '"0" isn\'t a number of messages: write 1 or more'),
        (["--for", "soon"], '"soon" isn\'t a length of time'),
    ],
)
def test_a_command_line_that_can_not_be_meant(shell: CommandShell, arguments: list[str], words: str) -> None:
    """Exit code 2, and what is allowed."""
    answer = shell.run("listen", *arguments)
    assert (answer.code, answer.out) == (2, "")
    assert words in answer.err


def test_the_kinds_that_the_command_line_knows_are_those_that_are_heard() -> None:
    """They are written down twice, since the command line is read before anything else is imported."""
    assert sorted(KINDS.split(", ")) == sorted(HEARD_KINDS)
