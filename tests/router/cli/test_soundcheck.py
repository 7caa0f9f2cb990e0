"""`pointsman soundcheck` on a rig in memory: what each device hears, and that nothing is left sounding."""

from __future__ import annotations

import json
import os
import pty
import signal
from collections.abc import Callable, Sequence
from pathlib import Path

import pytest

from router.cli.note_player import IsOver, SoundcheckSettings, soundcheck
from rules.errors import MachineError
from rules.midi.notation import format_message
from tests.support.command_shell import CommandShell
from tests.support.fake_midi_system import Device, FakeBackend, FakeOutput, Hub

RIG = b"""
[ports]
seq   = { input = "Seq" }
rack1 = { output = "4x4 Interface 1" }
rack2 = { output = "4x4 Interface 2" }
take  = { output = true, virtual = true }
[devices]
organ = { port = "rack1", channel = 4, setup = "program 17" }
kit   = { port = "rack1", channel = 10, steps = [{ echo = { ms = 100000, times = 1, decay = 0 } }] }
bass  = { port = "rack2", channel = 2, notes = "E1..E3" }
mute  = { port = "rack1", steps = [{ filter = { drop = { kind = "note" } } }] }
tape  = { port = "take" }
"""


@pytest.fixture
def hub() -> Hub:
    """A computer with one of the two interfaces."""
    return Hub()


@pytest.fixture
def rack(hub: Hub) -> Device:
    """The interface that is there."""
    return hub.plug("4x4 Interface 1", sends=False)


def heard(device: Device) -> list[str]:
    """What a device was sent, in words."""
    return [format_message(message) for message in device.messages]


def at_once() -> IsOver:
    """Nobody waits."""
    return lambda: True


def checked(shell: CommandShell, hub: Hub, waits: Callable[[], IsOver] = at_once, as_json: bool = False) -> int:
    """The exit code of a sound check of the rig."""
    shell.put("rig.toml", RIG)
    return soundcheck(SoundcheckSettings((str(shell.folder / "rig.toml"),), json=as_json), FakeBackend(hub), waits)


def test_each_device_plays_and_is_silent_again(shell: CommandShell, hub: Hub, rack: Device) -> None:
    """First what it wants to be sent at the start; a note-off for each note, and no echo later."""
    checked(shell, hub)
    assert heard(rack)[:5] == [
        "program 4 17",
        "note-on 4 C4 40",
        "note-off 4 C4 64",
        "note-on 10 D2 40",
        "note-off 10 D2 64",
    ]


def test_it_is_told_in_words(shell: CommandShell, hub: Hub, rack: Device, capsys: pytest.CaptureFixture[str]) -> None:
    """Who sounds, where and what; what isn't there, and why; 1 because not all were played."""
    assert checked(shell, hub) == 1
    assert capsys.readouterr().out.splitlines() == [
        "Turn the volume down first: how loud a soft note is depends on the instrument.",
        "",
        "1 of 5  organ  port rack1 (4x4 Interface 1)  channel 4   C4 (key 60) sounds",
        "2 of 5  kit    port rack1 (4x4 Interface 1)  channel 10  D2 (key 38) sounds",
        '3 of 5  bass   port rack2                    not played  the computer has no port named "4x4 Interface 2"',
        "4 of 5  mute   port rack1 (4x4 Interface 1)  not played  the steps of the device drop the note",
        "5 of 5  tape   port take                     not played  the daemon makes this port; no program uses it",
        "",
        "3 of 5 devices not played: bass, mute, tape",
    ]


def test_it_is_told_as_data(shell: CommandShell, hub: Hub, rack: Device, capsys: pytest.CaptureFixture[str]) -> None:
    """Each device with its state, and nothing but JSON."""
    assert checked(shell, hub, as_json=True) == 1
    capsys.readouterr()
    shell.put("small.toml", RIG.partition(b"kit ")[0])
    settings = SoundcheckSettings((str(shell.folder / "small.toml"),), json=True)
    assert soundcheck(settings, FakeBackend(hub), at_once) == 0
    (organ,) = json.loads(capsys.readouterr().out)["devices"]
    assert organ == {
        "device": "organ",
        "port": "rack1",
        "computer_port": "4x4 Interface 1",
        "state": "played",
        "channel": 4,
        "key": 60,
        "velocity": 40,
        "message": "note-on 4 C4 40",
    }


@pytest.mark.usefixtures("as_a_terminal_starts_us")
@pytest.mark.parametrize("number", [signal.SIGINT, signal.SIGTERM, signal.SIGHUP])
def test_what_interrupts_it_ends_the_note(
    shell: CommandShell, hub: Hub, rack: Device, monkeypatch: pytest.MonkeyPatch, number: signal.Signals
) -> None:
    """The note that sounds is ended, even if a closed terminal is told meanwhile, and the ports are closed."""

    def pressed() -> IsOver:
        def is_over() -> bool:
            signal.raise_signal(number)
            return False

        return is_over

    def hear(message: bytes) -> None:
        if message[0] & 0xF0 == 0x80:
            signal.raise_signal(signal.SIGHUP)
        rack.heard.append(message)

    monkeypatch.setattr(rack, "hear", hear)
    backend = FakeBackend(hub)
    shell.put("rig.toml", RIG)
    with pytest.raises(KeyboardInterrupt):
        soundcheck(SoundcheckSettings((str(shell.folder / "rig.toml"),)), backend, pressed)
    assert heard(rack) == ["program 4 17", "note-on 4 C4 40", "note-off 4 C4 64"]
    assert backend.closed


def test_two_ports_that_fit_are_told(
    shell: CommandShell, hub: Hub, rack: Device, capsys: pytest.CaptureFixture[str]
) -> None:
    """Nothing is played on a port that may be the wrong one."""
    hub.plug("4x4 Interface 1", sends=False)
    assert checked(shell, hub) == 1
    assert '"4x4 Interface 1" means 4x4 Interface 1 or 4x4 Interface 1: write more' in capsys.readouterr().out
    assert heard(rack) == []


def test_a_rig_without_devices(shell: CommandShell, hub: Hub) -> None:
    """There is nothing to play, and that is said."""
    shell.put("rig.toml", b'[ports]\nrack = { output = "Rack" }\n')
    answer = shell.run("soundcheck", "rig.toml")
    assert (answer.code, answer.err) == (0, "")
    assert answer.out.startswith("The rule files have no devices.")
    assert shell.run("soundcheck", "rig.toml", "--json").data["devices"] == []


@pytest.mark.parametrize("seconds", ["0", "61", "soon", "nan"])
def test_a_time_that_is_none(shell: CommandShell, seconds: str) -> None:
    """The words say what is allowed."""
    answer = shell.run("soundcheck", "rig.toml", "--seconds", seconds)
    assert answer.code == 2
    assert f'"{seconds}" is not a time for a note: write seconds from 0.1 to 60' in answer.err


def test_by_hand_each_enter_goes_on(
    shell: CommandShell, hub: Hub, rack: Device, monkeypatch: pytest.MonkeyPatch
) -> None:
    """On a terminal nothing is played before the first Enter, and each device sounds until the next one."""
    shell.put("small.toml", RIG.partition(b"kit ")[0])
    ours, theirs = pty.openpty()
    with os.fdopen(theirs, "r", encoding="utf-8") as terminal:
        monkeypatch.setattr("sys.stdin", terminal)
        monkeypatch.setattr("router.cli.note_player.is_terminal", lambda _: True)
        os.write(ours, b"\n\n")
        assert soundcheck(SoundcheckSettings((str(Path("small.toml")),)), FakeBackend(hub)) == 0
    os.close(ours)
    assert heard(rack) == ["program 4 17", "note-on 4 C4 40", "note-off 4 C4 64"]


def test_a_message_that_is_refused_leaves_no_other_note_sounding(
    shell: CommandShell, hub: Hub, rack: Device, monkeypatch: pytest.MonkeyPatch
) -> None:
    """It is told at the end; what ends notes is sent all the same."""
    send = FakeOutput.send_message
    refused = b"\x93\x3c\x28"

    def unwilling(self: FakeOutput, message: Sequence[int]) -> None:
        nonlocal refused
        if bytes(message) == refused:
            refused = b""
            raise OSError("the cable burns")
        send(self, message)

    monkeypatch.setattr(FakeOutput, "send_message", unwilling)
    with pytest.raises(MachineError, match='output "rack1": 1 message dropped: the MIDI system says: the cable burns'):
        checked(shell, hub)
    assert heard(rack)[:2] == ["program 4 17", "note-off 4 C4 64"]
