"""The command `record`: takes from the daemon, from its memory, from ports, and what a crash left behind."""

from __future__ import annotations

import json
import os
import signal
import threading
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import pytest

from router.cli import record_takes as recording
from router.cli.main import main
from router.cli.record_takes import where
from router.daemon.control_server import ControlServer
from router.daemon.recording_verbs import recorder_handlers
from router.files.clock import Clock
from router.recording.recorder import Recorder
from router.recording.take_names import take_name
from router.text.usage import UsageError
from rules.journal.format import IN
from tests.support import mido_reader
from tests.support.command_shell import CommandShell
from tests.support.fake_midi_system import FakeBackend, Hub
from tests.support.journal_samples import NAMED, OFF, ON, PLAYED, orphan, wait_for


class Daemon:
    """The part of a daemon that records."""

    def __init__(self) -> None:
        self.now = 0
        self.recorder = Recorder(lambda text: None, clock=Clock(lambda: self.now))
        self.recorder.start()
        self.control = ControlServer("pointsman", recorder_handlers(self.recorder))
        self.control.start()

    def leave(self) -> None:
        """The daemon is told to leave."""
        self.control.stop()
        self.recorder.stop()

    def while_recorded(self, work: Callable[[], None]) -> threading.Thread:
        """Does `work` in a thread as soon as somebody records."""

        def wait() -> None:
            wait_for(lambda: self.recorder.recording is not None)
            work()

        thread = threading.Thread(target=wait)
        thread.start()
        return thread

    def play(self) -> None:
        """A note."""
        for record in PLAYED:
            self.recorder.log(record)


@pytest.fixture
def daemon(tmp_path_factory: pytest.TempPathFactory, monkeypatch: pytest.MonkeyPatch) -> Iterator[Daemon]:
    """A daemon in a runtime folder of its own."""
    monkeypatch.setenv("XDG_RUNTIME_DIR", str(tmp_path_factory.mktemp("run")))
    daemon = Daemon()
    yield daemon
    daemon.leave()


@pytest.fixture
def hub(monkeypatch: pytest.MonkeyPatch) -> Hub:
    """A MIDI system for the command."""
    hub = Hub()
    monkeypatch.setattr(recording, "choose_backend", lambda name, client: FakeBackend(hub, client))
    return hub


def notes(path: Path) -> list[str]:
    """The kinds of notes in a .mid file."""
    return [event.kind for event in mido_reader.events(path.read_bytes()) if event.kind.startswith("Note")]


def titles(path: Path) -> list[bytes | int]:
    """The names of the tracks."""
    return [event.data[0] for event in mido_reader.events(path.read_bytes()) if event.kind == "Title_t"]


def interrupt() -> None:
    """Ctrl-C."""
    os.kill(os.getpid(), signal.SIGINT)


def test_ctrl_c_ends_a_recording_and_saves_it(daemon: Daemon, shell: CommandShell) -> None:
    """Inputs and outputs of the daemon, a track each; the journal is gone then."""

    def perform() -> None:
        daemon.play()
        interrupt()

    thread = daemon.while_recorded(perform)
    assert main(["record", "-o", "take.mid"]) == 0
    thread.join()
    assert notes(shell.folder / "take.mid") == ["Note_on_c", "Note_off_c"] * 2
    assert titles(shell.folder / "take.mid") == [b"keys in", b"rack out"]
    assert list(shell.files()) == ["take.mid"]


def test_a_recording_ends_by_itself_after_a_while(
    daemon: Daemon, shell: CommandShell, capsys: pytest.CaptureFixture[str]
) -> None:
    """With --for; and as data where that is wanted."""
    thread = daemon.while_recorded(daemon.play)
    assert main(["record", "-o", "take.mid", "--for", "0.3s", "--json"]) == 0
    thread.join()
    told = json.loads(capsys.readouterr().out)
    assert told == {
        "command": "record",
        "ok": True,
        "file": str(shell.folder / "take.mid"),
        "seconds": 0.5,
        "messages": 4,
        "held": 0,
        "lost": 0,
        "tracks": [{"name": "keys in", "messages": 2, "held": 0}, {"name": "rack out", "messages": 2, "held": 0}],
    }


@pytest.mark.parametrize("more", [("--for", "0.3s"), ("--last", "5m")])
def test_a_note_that_is_held_to_the_end_lasts_until_the_end(
    daemon: Daemon, shell: CommandShell, capsys: pytest.CaptureFixture[str], more: tuple[str, ...]
) -> None:
    """For three seconds by the daemon's clock; no message comes at their end."""

    def hold() -> None:
        daemon.recorder.log(NAMED)
        daemon.recorder.log((IN, 0, 0, ON))
        daemon.now = 3_000_000_000

    if more[0] == "--last":
        hold()
        assert main(["record", "-o", "take.mid", "--json", *more]) == 0
    else:
        thread = daemon.while_recorded(hold)
        assert main(["record", "-o", "take.mid", "--json", *more]) == 0
        thread.join()
    told = json.loads(capsys.readouterr().out)
    assert (told["seconds"], told["held"]) == (3.0, 1)
    offs = [
        event for event in mido_reader.events((shell.folder / "take.mid").read_bytes()) if event.kind == "Note_off_c"
    ]
    assert [event.tick for event in offs] == [5760]


def test_what_nobody_recorded_can_be_had_afterwards(
    daemon: Daemon, shell: CommandShell, capsys: pytest.CaptureFixture[str]
) -> None:
    """The last five minutes, under a new name where there is such a file already."""
    daemon.play()
    (shell.folder / "take.mid").write_text("mine")
    assert main(["record", "--last", "5m", "-o", "take.mid"]) == 0
    assert notes(shell.folder / "take-2.mid") == ["Note_on_c", "Note_off_c"] * 2
    assert (shell.folder / "take.mid").read_text() == "mine"
    assert capsys.readouterr().out.startswith(f"saved {shell.folder}/take-2.mid: 0:01, 4 messages in 2 tracks")


def test_more_than_is_remembered_cannot_be_had(
    daemon: Daemon, shell: CommandShell, capsys: pytest.CaptureFixture[str]
) -> None:
    """What there is, is saved; and it is said how far the memory reaches."""
    daemon.play()
    assert main(["record", "--last", "1h", "-o", "take.mid"]) == 0
    assert notes(shell.folder / "take.mid") == ["Note_on_c", "Note_off_c"] * 2
    assert "remembers only the last 10 min:" in capsys.readouterr().err


def test_without_playing_no_file_is_made(
    daemon: Daemon, shell: CommandShell, capsys: pytest.CaptureFixture[str]
) -> None:
    """Neither by --last nor otherwise."""
    daemon.recorder.log(NAMED)
    assert main(["record", "--last", "5m"]) == 0
    assert main(["record", "--for", "0.1s"]) == 0
    assert capsys.readouterr().out.count("nobody played") == 2
    assert shell.files() == {}


def test_a_daemon_that_leaves_has_saved_the_recording(
    daemon: Daemon, shell: CommandShell, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    """Whoever records is told, and where it is."""
    monkeypatch.setattr(recording, "_ASK_EVERY_S", 0.1)

    def perform() -> None:
        daemon.play()
        daemon.leave()

    thread = daemon.while_recorded(perform)
    assert main(["record", "-o", "take.mid"]) == 0
    thread.join()
    assert notes(shell.folder / "take.mid") == ["Note_on_c", "Note_off_c"] * 2
    assert "take.mid" in capsys.readouterr().out


def test_the_recording_of_a_daemon_that_was_killed_is_saved_by_the_command(
    shell: CommandShell, tmp_path_factory: pytest.TempPathFactory, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Nobody else does it: what was written of the journal becomes the take, and the journal is gone."""
    monkeypatch.setenv("XDG_RUNTIME_DIR", str(tmp_path_factory.mktemp("run")))
    monkeypatch.setattr(recording, "_ASK_EVERY_S", 0.01)
    journal = orphan(shell.folder / "take.mid.journal", *PLAYED)
    answers = iter([str(journal)])
    control = ControlServer("pointsman", {"record": lambda asked: {"journal": next(answers, None)}})
    control.start()
    try:
        assert main(["record", "-o", "take.mid"]) == 0
    finally:
        control.stop()
    assert notes(shell.folder / "take.mid") == ["Note_on_c", "Note_off_c"] * 2
    assert list(shell.files()) == ["take.mid"]


@pytest.mark.parametrize("exists_before", [False, True])
def test_a_daemon_that_leaves_before_anything_was_played_has_saved_nothing(
    daemon: Daemon,
    shell: CommandShell,
    capsys: pytest.CaptureFixture[str],
    monkeypatch: pytest.MonkeyPatch,
    exists_before: bool,
) -> None:
    """There is no file, and none is named, also where one of this name was there before."""
    monkeypatch.setattr(recording, "_ASK_EVERY_S", 0.1)
    if exists_before:
        shell.put("take.mid", b"an older take")
    thread = daemon.while_recorded(daemon.leave)
    assert main(["record", "-o", "take.mid"]) == 0
    thread.join()
    assert list(shell.files()) == (["take.mid"] if exists_before else [])
    assert capsys.readouterr().out == "nobody played, so there is nothing to save\n"


def test_a_recording_whose_terminal_was_closed_can_be_ended(
    daemon: Daemon, shell: CommandShell, capsys: pytest.CaptureFixture[str]
) -> None:
    """It went on in the daemon."""
    daemon.recorder.start_recording(shell.folder / "take.mid")
    daemon.play()
    assert main(["record", "--stop"]) == 0
    assert notes(shell.folder / "take.mid") == ["Note_on_c", "Note_off_c"] * 2
    assert main(["record", "--stop"]) == 2
    assert "nothing is being recorded" in capsys.readouterr().err


def test_without_a_daemon_it_is_said_how_to_record(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """And nothing is left behind."""
    monkeypatch.setenv("XDG_RUNTIME_DIR", str(tmp_path))
    monkeypatch.chdir(tmp_path)
    assert main(["record"]) == 2
    assert "begin with pointsman run" in capsys.readouterr().err
    assert list(tmp_path.glob("take*")) == []


def play_on(hub: Hub, name: str, then: Callable[[], None]) -> threading.Thread:
    """Plays a note on a device as soon as somebody listens."""

    def perform() -> None:
        wait_for(lambda: any(device.name == name and device.listeners for device in hub.devices))
        hub.find(name).play(ON, b"\xf4", OFF)
        wait_for(lambda: not hub.find(name).listeners[0].waiting)
        then()

    thread = threading.Thread(target=perform)
    thread.start()
    return thread


def test_ports_are_recorded_without_a_daemon(hub: Hub, shell: CommandShell) -> None:
    """Tracks are called as the computer calls the ports; what is no MIDI message is left out."""
    hub.plug("Pit Keyboard")
    thread = play_on(hub, "Pit Keyboard", interrupt)
    assert main(["record", "--from", "pit key*", "-o", "take.mid"]) == 0
    thread.join()
    assert notes(shell.folder / "take.mid") == ["Note_on_c", "Note_off_c"]
    assert titles(shell.folder / "take.mid") == [b"Pit Keyboard in"]


def test_a_note_held_while_its_cable_is_pulled_ends_there(hub: Hub, shell: CommandShell) -> None:
    """It doesn't sound on through all that is played once the cable is in again."""
    stage = hub.plug("Pit Keyboard")

    def perform() -> None:
        wait_for(lambda: bool(stage.listeners))
        stage.play(ON)
        wait_for(lambda: not stage.listeners[0].waiting)
        hub.unplug(stage)
        again = hub.plug("Pit Keyboard")
        wait_for(lambda: bool(again.listeners))
        again.play(ON, OFF)
        wait_for(lambda: not again.listeners[0].waiting)
        interrupt()

    thread = threading.Thread(target=perform)
    thread.start()
    assert main(["record", "--from", "pit key*", "-o", "take.mid"]) == 0
    thread.join()
    assert notes(shell.folder / "take.mid") == ["Note_on_c", "Note_off_c", "Note_on_c", "Note_off_c"]


def test_a_pattern_that_fits_several_ports_means_all(hub: Hub, shell: CommandShell) -> None:
    """Two equal names are two ports."""
    boxes = [hub.plug("Box"), hub.plug("Box")]
    ended = threading.Event()

    def perform() -> None:
        wait_for(lambda: all(box.listeners for box in boxes))
        for box in boxes:
            box.play(ON, OFF)
        wait_for(lambda: not any(box.listeners[0].waiting for box in boxes))
        ended.set()
        interrupt()

    thread = threading.Thread(target=perform)
    thread.start()
    assert main(["record", "--from", "*", "-o", "take.mid"]) == 0
    thread.join()
    assert ended.is_set()
    assert notes(shell.folder / "take.mid") == ["Note_on_c", "Note_off_c"] * 2


def test_other_programs_can_send_to_a_port_of_ours(hub: Hub, shell: CommandShell) -> None:
    """A virtual port, recorded under its own name."""

    def perform() -> None:
        wait_for(lambda: any(device.name.endswith(":tape") for device in hub.devices))
        device = next(device for device in hub.devices if device.name.endswith(":tape"))
        device.hear(ON)
        wait_for(lambda: not device.heard)
        interrupt()

    thread = threading.Thread(target=perform)
    thread.start()
    assert main(["record", "--virtual", "tape", "-o", "take.mid"]) == 0
    thread.join()
    assert titles(shell.folder / "take.mid") == [b"tape in"]
    assert notes(shell.folder / "take.mid") == ["Note_on_c", "Note_off_c"]


def test_a_port_is_wanted_once(hub: Hub, shell: CommandShell, capsys: pytest.CaptureFixture[str]) -> None:
    """Twice the same name is a slip of the hand."""
    assert main(["record", "--from", "Pit Keyboard", "--from", "Pit Keyboard"]) == 2
    assert "named twice" in capsys.readouterr().err


def test_what_a_crash_left_behind_is_recovered(shell: CommandShell, capsys: pytest.CaptureFixture[str]) -> None:
    """By folder or by file; what can't be saved is told, and makes the exit code 1."""
    orphan(shell.folder / "a.mid.journal", *PLAYED, torn=b"\x03")
    orphan(shell.folder / "b.mid.journal", *PLAYED)
    assert main(["record", "--recover", str(shell.folder / "a.mid.journal")]) == 0
    assert "from before is saved" in capsys.readouterr().out
    (shell.folder / "c.mid.journal").write_text("a diary, and no journal of ours")
    assert main(["record", "--recover", ".", "--json"]) == 1
    told: dict[str, Any] = json.loads(capsys.readouterr().out)
    assert (told["files"], len(told["problems"])) == (["b.mid"], 1)
    assert notes(shell.folder / "b.mid") == ["Note_on_c", "Note_off_c"] * 2
    (shell.folder / "c.mid.journal").unlink()
    assert main(["record", "--recover", "."]) == 0
    assert capsys.readouterr().out == "there is nothing to recover\n"
    assert main(["record", "--recover", "a.mid"]) == 2


def test_where_a_take_goes(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """A file, a folder that is there, or the current folder with the date as its name."""
    monkeypatch.chdir(tmp_path)
    dated = f"{take_name(0)}.mid"
    assert where("a/take.mid", 0) == tmp_path / "a/take.mid"
    assert where(None, 0) == where(".", 0) == tmp_path / dated
    assert where(f"new{os.sep}", 0) == tmp_path / "new" / dated
    with pytest.raises(UsageError, match=r"write it as in -o take\.mid"):
        where("take.wav", 0)
