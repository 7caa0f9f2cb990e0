"""`pointsman learn` on a computer in memory: what is played there, and what is said and written down."""

from __future__ import annotations

import json
from typing import Any

import pytest

from router.cli.gesture_report import LearnSettings, learn
from rules.rulefile.reading import read_rules
from tests.support.command_shell import CommandShell
from tests.support.fake_midi_system import FakeBackend, FakeInput, Hub
from tests.support.pages import PAGES
from tests.support.timed_actions import TimedActions


class LearnRig(TimedActions):
    """`learn` at a computer. It looks every tenth of a second."""

    def __init__(self, hub: Hub) -> None:
        super().__init__(step=0.1)
        self.backend = FakeBackend(hub)

    def learn(self, *rules: str, as_json: bool = False) -> int:
        """Let it listen until the end."""
        return learn(LearnSettings(rules, None, as_json), self.backend, self.time.clock)


@pytest.fixture
def hub() -> Hub:
    """A computer."""
    return Hub()


@pytest.fixture
def rig(hub: Hub) -> LearnRig:
    """`learn` at that computer."""
    return LearnRig(hub)


def learned(rig: LearnRig, capsys: pytest.CaptureFixture[str], *rules: str) -> list[dict[str, Any]]:
    """What is told as data."""
    capsys.readouterr()
    assert rig.learn(*rules, as_json=True) == 0
    return [json.loads(line) for line in capsys.readouterr().out.splitlines()]


def test_outputs_of_a_running_daemon_are_not_listened_to(
    rig: LearnRig, hub: Hub, capsys: pytest.CaptureFixture[str]
) -> None:
    """What the daemon sends is played by nobody: lines for it would make a loop."""
    rack = hub.plug("pointsman rack:rack", receives=False)
    pads = hub.plug("Pad Box:Pad Box MIDI 1", receives=False)
    rig.backend.client = "pointsman-learn"
    rig.play(1, rack, "note-on 1 C4 97", "note-off 1 C4 64")
    rig.play(2, pads, "note-on 10 C2 97", "note-off 10 C2 64")
    told = learned(rig, capsys)
    assert [one["computer_port"] for one in told] == ["Pad Box:Pad Box MIDI 1 21:0"]


def test_a_pad_is_told_with_its_lines(rig: LearnRig, hub: Hub, capsys: pytest.CaptureFixture[str]) -> None:
    """Port, channel and number, and the lines for the rule file; Ctrl-C is the end, and no failure."""
    pads = hub.plug("Pad Box:Pad Box MIDI 1", receives=False)
    rig.play(1, pads, "note-on 10 C2 97", "note-off 10 C2 64")
    assert rig.learn() == 0
    out = capsys.readouterr().out
    told = out.partition("MIDI 1\n\n")[2].rstrip()
    assert f"```text\n{told}\n```" in PAGES["learn"]
    assert out.splitlines() == [
        "Press a key, a pad or a pedal, or turn a knob. Ctrl-C ends it.",
        "Listening to Pad Box:Pad Box MIDI 1",
        "",
        "Pad Box:Pad Box MIDI 1: note C2 (key 36), channel 10: velocity 97",
        "  # the port",
        "  [ports]",
        '  pad_box = { input = "Pad Box" }',
        "",
        "  # a switch that it changes; the press is not passed on, unless you add pass_on = true",
        "  [switches]",
        '  note_c2 = { from = "pad_box", channel = 10, note = 36, mode = "toggle" }'
        "  # 36 is C2, with middle C called C4",
        "",
        "  # a rule that matches nothing else",
        "  [[rules]]",
        '  from = "pad_box"',
        '  match = { kind = "note", channel = 10, notes = 36 }  # 36 is C2, with middle C called C4',
        "  to = []  # write a device or a port between the brackets",
        "",
    ]


def test_the_lines_are_a_rule_file(rig: LearnRig, hub: Hub, capsys: pytest.CaptureFixture[str]) -> None:
    """Port, switch and rule, put together as they are told, are read without a mistake."""
    stage = hub.plug("Pit Keyboard")
    rig.play(1, stage, "controller 1 sustain 127", "controller 1 sustain 0")
    (told,) = learned(rig, capsys)
    text = "\n".join(line for block in told["blocks"] for line in block["lines"])
    ruleset = read_rules([("learned.toml", text.encode())])
    assert list(ruleset.ports) == ["pit_keyboard"]
    assert ruleset.ports["pit_keyboard"].both == "Pit Keyboard"
    assert list(ruleset.switches) == ["sustain"]


def test_it_is_told_as_data(rig: LearnRig, hub: Hub, capsys: pytest.CaptureFixture[str]) -> None:
    """A line for each thing; the lines for the rule file come with the first time, those of a port once."""
    stage = hub.plug("Pit Keyboard")
    rig.play(1, stage, "pitch-bend 1 +100", "pitch-bend 1 0")
    rig.play(2, stage, "program 3 17")
    rig.play(3, stage, "pitch-bend 1 -5")
    first, second, third = learned(rig, capsys)
    assert {key: first[key] for key in first if key != "blocks"} == {
        "port": "pit_keyboard",
        "computer_port": "Pit Keyboard 20:0",
        "kind": "pitch-bend",
        "channel": 1,
        "number": None,
        "values": [100, 0],
        "words": "pitch bend, channel 1: from +0 to +100",
        "again": False,
    }
    assert [block["purpose"] for block in first["blocks"]] == ["the port", "a rule that matches nothing else"]
    assert [block["lines"][0] for block in second["blocks"]] == ["[switches]", "[[rules]]"]
    assert (third["again"], third["blocks"]) == (True, [])


def test_what_was_touched_before_is_told_shortly(rig: LearnRig, hub: Hub, capsys: pytest.CaptureFixture[str]) -> None:
    """One sees that it still works, without the lines again."""
    stage = hub.plug("Pit Keyboard")
    rig.play(1, stage, "program 3 17")
    rig.play(2, stage, "program 3 17")
    rig.learn()
    assert capsys.readouterr().out.splitlines()[-1] == "Pit Keyboard: program 17, channel 3 (as above)"


def test_a_gesture_is_one_until_it_is_quiet(rig: LearnRig, hub: Hub, capsys: pytest.CaptureFixture[str]) -> None:
    """A knob that moves is told once, with where it went; two ports at the same time are two gestures."""
    stage, pads = hub.plug("Pit Keyboard"), hub.plug("Pad Box")
    for step in range(8):
        rig.play(1 + step / 10, stage, f"controller 1 modulation {step * 10}")
        rig.play(1 + step / 10, pads, f"controller 2 volume {100 + step}")
    found = learned(rig, capsys)
    assert [one["words"] for one in found] == [
        "controller modulation (1), channel 1: from 0 to 70",
        "controller volume (7), channel 2: from 100 to 107",
    ]


def test_a_gesture_without_an_end_is_told_all_the_same(
    rig: LearnRig, hub: Hub, capsys: pytest.CaptureFixture[str]
) -> None:
    """A sequencer that plays on is told every two seconds."""
    stage = hub.plug("Pit Keyboard")
    for step in range(45):
        rig.play(step / 10, stage, "note-on 1 C4 100")
    assert [one["again"] for one in learned(rig, capsys)] == [False, True, True]


def test_a_clock_is_told_once(rig: LearnRig, hub: Hub, capsys: pytest.CaptureFixture[str]) -> None:
    """It runs on without a hand, and keeps no gesture from ending; active sensing is told never."""
    stage = hub.plug("Pit Keyboard")
    for step in range(40):
        rig.play(step / 10, stage, "clock", "active-sensing")
    rig.at(1.1, lambda: stage.play(b"\x90\x3c\x40"))
    assert [one["kind"] for one in learned(rig, capsys)] == ["clock", "note"]


def test_rule_files_give_the_names(
    shell: CommandShell, rig: LearnRig, hub: Hub, capsys: pytest.CaptureFixture[str]
) -> None:
    """Ports and keys are called as there; a port that isn't there gets a name that is free."""
    stage, pads = hub.plug("Pit Keyboard"), hub.plug("Keys")
    shell.put("rig.toml", b'middle_c = "C3"\n[ports]\nkeys = { input = "Pit Key*" }\nrack = { output = "Keys" }\n')
    rig.play(1, stage, "note-on 1 60 97")
    rig.play(2, pads, "note-on 1 60 97")
    known, new = learned(rig, capsys, "rig.toml")
    assert (known["port"], known["words"]) == ("keys", "note C3 (key 60), channel 1: velocity 97")
    assert "[ports]" not in [block["lines"][0] for block in known["blocks"]]
    assert (new["port"], new["blocks"][0]["lines"]) == ("keys_2", ["[ports]", 'keys_2 = "Keys"'])


def test_equal_devices_are_told_apart(rig: LearnRig, hub: Hub, capsys: pytest.CaptureFixture[str]) -> None:
    """Each gets its own name, and a pattern that means only it."""
    racks = [hub.plug("Rack"), hub.plug("Rack")]
    rig.play(1, racks[1], "note-on 1 60 97")
    rig.play(2, racks[0], "note-on 1 60 97")
    found = learned(rig, capsys)
    assert [one["blocks"][0]["lines"][1] for one in found] == [
        'rack_2 = "Rack #2"',
        'rack_1 = "Rack #1"',
    ]


def test_ports_come_and_go(rig: LearnRig, hub: Hub, capsys: pytest.CaptureFixture[str]) -> None:
    """One that is plugged in later is heard; one that is pulled in the midst of a gesture does no harm."""
    rig.at(1, lambda: hub.plug("Late"))
    rig.at(2.5, lambda: hub.find("Late").play(b"\xc0\x05"))
    rig.at(3.5, lambda: hub.find("Late").play(b"\xc0\x06"))
    rig.at(3.6, lambda: hub.unplug(hub.find("Late")))
    assert rig.learn() == 0
    out = capsys.readouterr().out
    assert "There is no MIDI input yet. Waiting until you plug one in." in out
    assert "Listening to Late\n" in out
    assert "Late: program 6, channel 1\n" in out
    assert "program 7" not in out


def test_a_port_that_can_not_be_opened_is_told_once(
    rig: LearnRig, hub: Hub, capsys: pytest.CaptureFixture[str]
) -> None:
    """The others are heard."""
    hub.plug("Busy")
    stage = hub.plug("Pit Keyboard")
    opened = rig.backend.open_input

    def open_input(name: str, label: str, named: bool = False) -> FakeInput:
        return opened("gone" if name.startswith("Busy") else name, label, named)

    rig.backend.open_input = open_input  # type: ignore[method-assign]
    rig.play(1, stage, "program 1 6")
    assert rig.learn() == 0
    told = capsys.readouterr()
    assert told.err == 'Busy: "gone" can\'t be opened: it has gone\n'
    assert "Listening to Pit Keyboard\n" in told.out
    assert "Pit Keyboard: program 6" in told.out


def test_everything_is_closed_at_the_end(rig: LearnRig, hub: Hub) -> None:
    """No port stays open behind it."""
    stage = hub.plug("Pit Keyboard")
    rig.learn()
    assert stage.listeners == []


def test_our_own_ports_are_not_listened_to(rig: LearnRig, hub: Hub, capsys: pytest.CaptureFixture[str]) -> None:
    """A port that this process has made says nothing about instruments."""
    hub.plug("pointsman:own")
    rig.learn()
    assert "Listening" not in capsys.readouterr().out
