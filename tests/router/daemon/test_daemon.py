"""The command `run`, put together on a MIDI system in memory: how it begins after a crash, and how it leaves."""

from __future__ import annotations

import signal
import threading
from pathlib import Path
from typing import Any

import pytest

from router.daemon import daemon as run_module
from router.daemon.control_server import ControlServer
from router.daemon.daemon import Daemon
from router.daemon.prepared_rules import prepare
from router.daemon.realtime import Realtime
from router.daemon.reloader import Reloader
from router.daemon.run_settings import RunSettings
from router.midi.port_manager import PortManager
from router.recording.recorder import Recorder
from router.text.usage import UsageError
from rules.errors import MachineError
from tests.support.fake_clock import SECOND_NS, FakeClock
from tests.support.fake_midi_system import FakeBackend, Hub

RULES = """
[ports]
keys = { input = "Keys*" }
rack = { output = "Rack*" }
[[rules]]
from = "keys"
to = "rack"
"""
ON, OFF = b"\x90\x3c\x64", b"\x80\x3c\x40"
ALL_NOTES_OFF = b"\xb0\x7b\x00"


class Club:
    """A daemon between a keyboard and a rack. Somebody plays a note, and the first signal tells it to leave.

    Before that it is given the `questions`, pairs of a verb and arguments, and its `answers` are kept.
    """

    def __init__(self, folder: Path, first: signal.Signals = signal.SIGTERM, rules: str = RULES) -> None:
        self.hub = Hub()
        self.keys = self.hub.plug("Keys", receives=False)
        self.rack = self.hub.plug("Rack", sends=False)
        self.takes = folder / "takes"
        self.takes.mkdir()
        self.control = ControlServer("club", {})
        (folder / "rules.toml").write_text(rules)
        settings = RunSettings((str(folder / "rules.toml"),), name="club", record=str(self.takes))
        self._first = first
        self._looks = 0
        self.questions: list[tuple[str, dict[str, Any]]] = []
        self.answers: list[Any] = []
        self._asking = threading.Thread(target=self._ask)
        self._daemon = Daemon(settings, prepare(settings.rules), lambda _: None, self._look)

    def opens(self) -> None:
        """Play until it is over."""
        self._daemon.play(PortManager(FakeBackend(self.hub)), self.control)

    def _look(self) -> list[str]:
        """The daemon asks for noises four times a second: so the evening goes on."""
        self._looks += 1
        if self._looks == 1:
            self.keys.play(ON)
        elif self._looks == 2:
            self._asking.start()
        elif not self._asking.is_alive():
            signal.raise_signal(self._first)
        return []

    def _ask(self) -> None:
        for verb, asked in self.questions:
            try:
                self.answers.append(self._daemon.handlers()[verb](asked))
            except UsageError as error:
                self.answers.append(str(error))


@pytest.fixture(autouse=True)
def _in_no_hurry(monkeypatch: pytest.MonkeyPatch) -> None:
    """The interpreter of the tests stays as it is."""
    monkeypatch.setattr(run_module, "prefer_latency", lambda: None)
    monkeypatch.setattr(run_module, "take_realtime", Realtime)


def test_the_take_is_saved_before_anything_may_keep_it_waiting(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Rule files may lie on a disk that doesn't answer: whoever reads them is waited for last."""
    takes: list[list[str]] = []
    stop = Reloader.stop

    def stop_later(reloader: Reloader) -> None:
        takes.append([path.suffix for path in club.takes.iterdir()])
        stop(reloader)

    monkeypatch.setattr(Reloader, "stop", stop_later)
    club = Club(tmp_path)
    club.opens()
    assert takes == [[".mid"]]
    assert club.rack.heard == [ON, OFF]


def test_a_terminal_that_closes_is_told_twice(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """However late it comes, the second time ends nothing before the take is saved."""
    stop = Recorder.stop

    def told_again(recorder: Recorder) -> None:
        signal.raise_signal(signal.SIGHUP)
        stop(recorder)

    monkeypatch.setattr("router.daemon.signals.is_terminal", lambda _: True)
    monkeypatch.setattr(Recorder, "stop", told_again)
    club = Club(tmp_path, signal.SIGHUP)
    club.opens()
    assert club.rack.heard == [ON, OFF]
    assert [path.suffix for path in club.takes.iterdir()] == [".mid"]


def test_after_a_crash_the_outputs_are_silenced_once(tmp_path: Path) -> None:
    """Before anything is played; then the crash is forgotten."""
    club = Club(tmp_path)
    club.control.follows_a_crash = True
    club.opens()
    assert ALL_NOTES_OFF in club.rack.heard[: club.rack.heard.index(ON)]
    assert not club.control.follows_a_crash


def test_a_start_that_fails_forgets_no_crash(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """What sounds from before sounds on: the next start has to end it."""

    def broken(*_: object) -> None:
        raise MachineError("no port is free")

    monkeypatch.setattr(PortManager, "want", broken)
    club = Club(tmp_path)
    club.control.follows_a_crash = True
    with pytest.raises(MachineError, match="no port is free"):
        club.opens()
    assert club.control.follows_a_crash


def test_messages_that_came_in_too_fast_are_told_now_and_then(tmp_path: Path) -> None:
    """Their number, at once and then every ten seconds at most; `status` has it in between."""
    (tmp_path / "rules.toml").write_text(RULES)
    settings = RunSettings((str(tmp_path / "rules.toml"),), name="club")
    said: list[str] = []
    time = FakeClock()
    missed = 0
    daemon = Daemon(settings, prepare(settings.rules), said.append, list, time.clock, losses=lambda: (missed, 0))
    for seconds, missed in ((1, 0), (1, 1), (1, 800), (9, 2_000), (10, 2_000), (10, 2_001)):  # noqa: B007
        time.now += seconds * SECOND_NS
        daemon._look()
    lost = "came in faster than Pointsman can take them, and got lost. If a note hangs, run pointsman panic"
    assert said == [f"1 message {lost}", f"1,999 messages {lost}", f"1 message {lost}"]


def test_commands_move_the_clock(tmp_path: Path) -> None:
    """Started, stopped, at a tempo, tapped; each answer says how it is then, and nonsense is refused."""
    club = Club(tmp_path, rules="[clock]\nbpm = 90\n" + RULES.replace('"Rack*"', '"Rack*", clock = "own"'))
    wrong: list[dict[str, Any]] = [
        {},
        {"do": "begin"},
        {"bpm": 5},
        {"bpm": "96"},
        {"bpm": True},
        {"do": "start", "bpm": 96},
    ]
    right: list[dict[str, Any]] = [{"do": "start"}, {"bpm": 96}, {"do": "stop"}]
    club.questions = [("clock", asked) for asked in (*right, *wrong)] + [("tap", {})]
    club.opens()
    told = [answer["clock"] for answer in club.answers[:3]]
    assert [(clock["from"], clock["bpm"], clock["running"]) for clock in told] == [
        ("own", 90, True),
        ("own", 96, True),
        ("own", 96, False),
    ]
    assert all("write what your clock does" in answer for answer in club.answers[3:9])
    assert club.answers[9]["clock"]["bpm"] == 96
    assert [message for message in club.rack.heard if message in (b"\xfa", b"\xfc")] == [b"\xfa", b"\xfc"]


def test_a_take_gets_orders_from_commands_as_from_pedals(tmp_path: Path) -> None:
    """Where none plays an order does nothing; what is no order is refused in words."""
    club = Club(tmp_path)
    club.questions = [("take", {"do": "next"}), ("take", {"do": "dance"})]
    club.opens()
    done, wrong = club.answers
    assert done == {}
    assert wrong == 'write what the take is to do: {"do": "next"}, or "pause" or "end"'


def test_commands_reach_the_music(tmp_path: Path) -> None:
    """Panic ends what sounds, a switch is turned on or set to a value, and what is no value is refused in words."""
    switches = '[switches]\nup = { from = "keys", note = "C1" }\nplace = { values = ["garden", "cave"] }\n'
    club = Club(tmp_path, rules=RULES + switches)
    club.questions = [
        ("status", {}),
        ("switch", {"name": "up", "value": None}),
        ("switch", {"name": "place", "value": "cave"}),
        ("switch", {"name": "place", "value": 3}),
        ("panic", {"every_key": False}),
        ("status", {}),
    ]
    club.opens()
    before, up, place, wrong, panic, after = club.answers
    assert (before["held"], after["held"]) == (1, 0)
    assert before["switches"] == {"up": False, "place": "garden"}
    assert after["switches"] == {"up": True, "place": "cave"}
    assert (up, place, panic) == ({}, {}, {})
    assert wrong.startswith("write the switch and its state:")
    assert ALL_NOTES_OFF in club.rack.heard
