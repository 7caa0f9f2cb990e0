"""What a daemon leaves for the next one of its name, and what the next one makes of it."""

from __future__ import annotations

import errno
import json
import os
import signal
import threading
from collections.abc import Callable, Iterator, Mapping
from pathlib import Path
from typing import Any

import pytest

import rules.journal.format as journal
from router.daemon import daemon as run_module
from router.daemon import last_run
from router.daemon.control_server import ControlServer
from router.daemon.daemon import Daemon, rules_to_start
from router.daemon.last_run import LastRun, RunKeeper, full_paths, read_last_rules, read_last_run
from router.daemon.live import Live
from router.daemon.realtime import Realtime
from router.daemon.run_settings import RunSettings
from router.files.clock import Clock
from router.files.user_folders import state_folder
from router.midi.port_manager import PortManager
from rules.analysis.history import Arrival, history_of
from rules.errors import MachineError, RuleFileError
from rules.journal.replay import replay
from rules.program.switch_states import State
from tests.support.failing_disk import FailingDisk
from tests.support.fake_midi_system import FakeBackend, Hub
from tests.support.journal_samples import wait_for
from tests.support.live_rig import RULES, LiveRig, prepared
from tests.support.outgoing_records import went_out

SONGS = """
[ports]
keys = { input = "Keys*" }
rack = { output = "Rack*" }
[switches]
song = { values = ["one", "two"] }
soft = { from = "keys", controller = 67, mode = "momentary" }
[[on_switch]]
when = "song = one"
send = { rack = "program 1 10" }
[[on_switch]]
when = "song = two"
send = { rack = "program 1 20" }
[[rules]]
from = "keys"
to = "rack"
"""
ONE, TWO = b"\xc0\x09", b"\xc0\x13"
ALL_NOTES_OFF = b"\xb0\x7b\x00"
HOUR_S = 3600.0


@pytest.fixture(autouse=True)
def _in_no_hurry(monkeypatch: pytest.MonkeyPatch) -> None:
    """The interpreter of the tests stays as it is, and nobody waits a second for a write."""
    monkeypatch.setattr(run_module, "prefer_latency", lambda: None)
    monkeypatch.setattr(run_module, "take_realtime", Realtime)
    monkeypatch.setattr(last_run, "_EVERY_S", 0.01)


@pytest.fixture
def rules(tmp_path: Path) -> Path:
    """A rule file with two songs."""
    path = tmp_path / "songs.toml"
    path.write_text(SONGS)
    return path


def left(rules: Path, *, ended: bool = False, at: float = 1.7e9, **switches: State) -> None:
    """What a daemon of the name pit has left."""
    state_folder().mkdir(parents=True)
    told = {"ended": ended, "at": at, "rules": full_paths([str(rules)]), "switches": switches}
    (state_folder() / "pit.state.json").write_text(json.dumps(told))


class Night:
    """A daemon of the name pit, that leaves after a few looks. `status` is what it said of itself."""

    def __init__(self, rules: Path, wall_s: float = 1.7e9, last_good: bool = False) -> None:
        self.hub = Hub()
        self.keys, self.rack = self.hub.plug("Keys", receives=False), self.hub.plug("Rack", sends=False)
        self.said: list[str] = []
        self.status: Mapping[str, Any] = {}
        self.at_look: Callable[[int], None] = lambda look: None
        self.until: Callable[[], bool] = lambda: self._looks > 3
        self._looks = 0
        settings = RunSettings((str(rules),), name="pit", last_good=last_good)
        found, faults = rules_to_start(settings, self.said.append)
        clock = Clock(wall_s=lambda: wall_s)
        self.daemon = Daemon(settings, found, self.said.append, self._look, clock, faults)
        self.control = ControlServer("pit", {})

    def goes(self) -> None:
        """Play until it is over."""
        self.daemon.play(PortManager(FakeBackend(self.hub)), self.control)

    def _look(self) -> list[str]:
        self._looks += 1
        self.at_look(self._looks)
        if self._looks == 2:
            handlers = self.daemon.handlers()
            asking = threading.Thread(target=lambda: setattr(self, "status", handlers["status"]({})))
            asking.start()
        elif self.until() and self.status:
            signal.raise_signal(signal.SIGTERM)
        return []


def test_after_a_crash_the_same_song(rules: Path, as_a_terminal_starts_us: None) -> None:
    """Its sounds go out and not the first song's, a pedal is up, outputs are silenced, and `status` says so."""
    left(rules, song="two", soft=True)
    night = Night(rules)
    night.goes()
    assert TWO in night.rack.heard
    assert ONE not in night.rack.heard
    assert ALL_NOTES_OFF in night.rack.heard
    assert night.status["switches"] == {"song": "two", "soft": False}
    assert night.status["switches_began"] == "restored"
    assert "switches are restored as they were before the crash" in night.said


@pytest.mark.parametrize(
    ("ended", "hours", "same_rules", "restored"),
    [
        (False, 0, True, True),
        (False, 12, True, True),
        (False, 12.1, True, False),
        (False, -2, True, True),
        (True, 0, True, False),
        (False, 0, False, False),
    ],
)
def test_when_switches_are_restored(
    ended: bool, hours: float, same_rules: bool, restored: bool, rules: Path, tmp_path: Path
) -> None:
    """Within twelve hours of an end that nobody asked for, with the same files, though the clock may have gone back."""
    mine = str(rules) if same_rules else str(tmp_path)
    last = LastRun(ended, 1.7e9, full_paths([mine]), {"song": "two"})
    assert (last.restored([str(rules)], 1.7e9 + hours * HOUR_S) == {"song": "two"}) is restored


def test_after_a_clean_end_the_initial_song(rules: Path, as_a_terminal_starts_us: None) -> None:
    """One evening ends in the second song; the next begins with the first, without a word of a crash."""
    first = Night(rules)
    first.at_look = lambda look: first.daemon._playing.turn("song", "two") if look == 1 else None
    first.goes()
    last = read_last_run("pit")
    assert last is not None
    assert (last.ended, last.switches) == (True, {"song": "two", "soft": False})
    second = Night(rules)
    second.goes()
    assert second.rack.heard == [ONE]
    assert second.status["switches_began"] == "initial"


def test_the_states_are_on_the_disk_before_the_end(rules: Path, as_a_terminal_starts_us: None) -> None:
    """Whoever pulls the plug leaves the song of then."""
    told: list[LastRun | None] = []
    night = Night(rules)

    def at_look(look: int) -> None:
        if look == 1:
            night.daemon._playing.turn("song", "two")
        elif look == 4:
            wait_for(lambda: written() == {"song": "two", "soft": False})
            told.append(read_last_run("pit"))

    night.at_look = at_look
    night.goes()
    assert told == [LastRun(False, 1.7e9, full_paths([str(rules)]), {"song": "two", "soft": False})]


def test_a_start_that_fails_forgets_nothing(rules: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """The sound server comes late: the start that succeeds finds what the crash left."""

    def broken(*_: object) -> None:
        raise MachineError("no port is free")

    left(rules, song="two")
    before = read_last_run("pit")
    monkeypatch.setattr(PortManager, "want", broken)
    with pytest.raises(MachineError, match="no port is free"):
        Night(rules).goes()
    assert read_last_run("pit") == before


@pytest.mark.parametrize("text", ["", "{", "[]", '{"ended": false}', '{"ended":0,"at":"x","rules":[],"switches":{}}'])
def test_what_can_not_be_read_is_as_if_nothing_were_there(text: str) -> None:
    """A power cut, or an editor: the daemon starts all the same."""
    state_folder().mkdir(parents=True)
    for kind in ("state", "rules"):
        (state_folder() / f"pit.{kind}.json").write_text(text)
    assert read_last_run("pit") is None
    assert read_last_rules("pit", ["rules.toml"]) is None


def test_what_is_far_too_large_is_not_read(rules: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """A damaged disk: one byte more than it may have, and the daemon starts as if nothing were there."""
    left(rules, song="two")
    size = (state_folder() / "pit.state.json").stat().st_size
    monkeypatch.setattr(last_run, "_MOST_BYTES", size)
    assert read_last_run("pit") is not None
    monkeypatch.setattr(last_run, "_MOST_BYTES", size - 1)
    assert read_last_run("pit") is None


def test_a_pipe_does_not_hold_up_the_start() -> None:
    """Only regular files are read."""
    state_folder().mkdir(parents=True)
    os.mkfifo(state_folder() / "pit.state.json")
    assert read_last_run("pit") is None


def test_a_full_disk_is_said_once() -> None:
    """The music goes on, and the states are written when there is room."""
    said: list[str] = []
    disk = FailingDisk("write", errno.ENOSPC)
    keeper = RunKeeper("pit", ["rules.toml"], lambda: {"song": "two"}, said.append, disk=disk)
    keeper.start()
    while not said:
        threading.Event().wait(0.01)
    disk.call = "nothing"
    keeper.end()
    assert len(said) == 1
    assert said[0].startswith("the states of switches can't be saved")
    last = read_last_run("pit")
    assert last is not None
    assert last.switches == {"song": "two"}


def test_rules_for_which_there_was_no_room_are_kept_when_there_is(monkeypatch: pytest.MonkeyPatch) -> None:
    """What is played now, not what was played before; and how the switches stand meanwhile."""
    said: list[str] = []
    disk = FailingDisk("nothing", errno.ENOSPC)
    songs = ["one"]
    keeper = RunKeeper("pit", ["rules.toml"], lambda: {"song": songs[-1]}, said.append, disk=disk)
    keeper.keep_rules((("rules.toml", b"old"),))
    keeper.start()
    wait_for(lambda: written() == {"song": "one"})
    disk.call = "write"
    keeper.keep_rules((("rules.toml", b"new"),))
    wait_for(lambda: bool(said))
    disk.call = "nothing"
    songs.append("two")
    keeper.note_change()
    wait_for(lambda: written() == {"song": "two"})
    wait_for(lambda: read_last_rules("pit", ["rules.toml"]) == (("rules.toml", b"new"),))
    keeper.end()
    assert len(said) == 1


def test_what_turns_is_written_and_nobody_looks_in_vain() -> None:
    """At rest the daemon sleeps: the switches are read when somebody says that they have changed."""
    states: dict[str, State] = {"song": "one"}
    read: list[str] = []

    def switches() -> Mapping[str, State]:
        read.append(str(states["song"]))
        return dict(states)

    keeper = RunKeeper("pit", ["rules.toml"], switches, print)
    keeper.start()
    wait_for(lambda: written() == {"song": "one"})
    states["song"] = "two"
    threading.Event().wait(0.1)  # ten times as long as it takes to write
    assert read == ["one"]
    keeper.note_change()
    wait_for(lambda: written() == {"song": "two"})
    assert read == ["one", "two"]
    keeper.end()


def written() -> Mapping[str, State] | None:
    """How the switches of pit stand, as far as it is known."""
    last = read_last_run("pit")
    return None if last is None else last.switches


# -- the last good rules ----------------------------------------------------------------------------------------------


def test_broken_files_refuse_unless_the_last_good_are_asked_for(rules: Path, as_a_terminal_starts_us: None) -> None:
    """The rules that ran last play, loudly, until the files can be used again."""
    Night(rules).goes()
    rules.write_text("[[rules]")
    with pytest.raises(RuleFileError, match=r"songs\.toml:1"):
        Night(rules)
    night = Night(rules, last_good=True)
    assert night.said[0] == "THE RULE FILES CAN'T BE USED. The rules that ran last play instead:"
    assert "songs.toml:1" in night.said[1]
    night.goes()
    assert night.rack.heard == [ONE]
    assert night.status["rules"]["last_good"] is True
    assert "songs.toml:1" in night.status["rules"]["error"]


def test_files_that_are_gone_count_as_broken(rules: Path, as_a_terminal_starts_us: None) -> None:
    """A disk that isn't there yet at boot."""
    Night(rules).goes()
    rules.unlink()
    night = Night(rules, last_good=True)
    assert "songs.toml" in night.said[1]


def test_other_arguments_have_no_last_good_rules(rules: Path, tmp_path: Path, as_a_terminal_starts_us: None) -> None:
    """Rules of another evening are no substitute; nor is there any before the first."""
    other = tmp_path / "other.toml"
    other.write_text("[[rules]")
    with pytest.raises(RuleFileError):
        Night(other, last_good=True)
    Night(rules).goes()
    with pytest.raises(RuleFileError):
        Night(other, last_good=True)


def test_rules_that_were_saved_while_playing_are_the_last_good(rules: Path, as_a_terminal_starts_us: None) -> None:
    """What ran last is what a reload brought."""
    night = Night(rules)
    changed = SONGS.replace("program 1 10", "program 1 30")

    def at_look(look: int) -> None:
        if look == 1:
            rules.write_text(changed)
            signal.raise_signal(signal.SIGHUP)

    night.at_look = at_look
    night.until = lambda: "new rules are in force:" in night.said
    night.goes()
    assert read_last_rules("pit", [str(rules)]) == ((str(rules), changed.encode()),)
    assert night.rack.heard == [ONE, b"\xc0\x1d"]


# -- the journal ------------------------------------------------------------------------------------------------------


def test_a_restored_session_plays_again_alike() -> None:
    """The journal tells how the switches stood at its beginning, and so does the history."""
    text = RULES + '[[on_switch]]\nwhen = "up"\nsend = { rack = "program 1 20" }\n'
    rig = LiveRig(text)
    ports = PortManager(rig.backend, rig.clock)
    rig.live = Live(prepared(text), ports, rig.records.append, rig.said.append, clock=rig.clock, restored={"up": True})

    def script() -> Iterator[float]:
        rig.keys.play(b"\x90\x3c\x64", b"\x80\x3c\x40")
        yield 1

    rig.goes(script())
    out = [data for kind, _, _, data in rig.records if kind == journal.OUT]
    assert out[:3] == [b"\xc0\x10", TWO, b"\x90\x48\x64"]
    assert replay(rig.records) == went_out(rig.records)
    (note, *_) = (each for each in history_of(rig.records, 10**9).happened if isinstance(each, Arrival))
    assert note.switches == {"up": True}
    assert note.outcomes == (("rack", b"\x90\x48\x64"),)
