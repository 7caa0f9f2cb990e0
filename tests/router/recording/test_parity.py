"""Parity over the whole daemon: what its journal holds, played again, is what its outputs were sent."""

from __future__ import annotations

import random
import threading
import time
from collections.abc import Iterator
from pathlib import Path

import pytest

from router.daemon.live import Live
from router.daemon.prepared_rules import Prepared, prepare_texts
from router.midi.port_manager import PortManager
from router.recording.recorder import Recorder
from router.recording.takes import save
from rules.journal.format import HEAD, Record, unpack
from rules.journal.replay import replay
from tests.support import midicsv, mido_reader
from tests.support.fake_midi_system import Device, FakeBackend, Hub
from tests.support.journal_samples import wait_for
from tests.support.journalled_session import FILES, FIRST, SECOND
from tests.support.outgoing_records import went_out

KEYS = (60, 62, 64, 67)


class Stage:
    """A daemon on a MIDI system in memory, and a recorder that writes its journal."""

    def __init__(self, folder: Path) -> None:
        self.hub = Hub()
        self.devices = {
            name: self.hub.plug(name, sends=name in ("Keys", "Seq"), receives=name in ("Rack", "Box"))
            for name in ("Keys", "Seq", "Rack", "Box")
        }
        self.prepared: Prepared = prepare_texts(FILES[FIRST])
        self.recorder = Recorder(lambda text: None)
        self.recorder.start()
        self.journal = self.recorder.start_recording(folder / "take.mid")
        self.said: list[str] = []
        self.live = Live(self.prepared, PortManager(FakeBackend(self.hub)), self.recorder.log, self.said.append)
        self.live.begin()
        self.thread = threading.Thread(target=self.live.run)
        self.thread.start()
        wait_for(lambda: bool(self.devices["Keys"].listeners and self.devices["Seq"].listeners))

    def device(self, name: str) -> Device:
        """A device by name."""
        return self.devices[name]

    def replug(self, name: str) -> None:
        """A cable is pulled and put in again."""
        old = self.devices[name]
        self.hub.unplug(old)
        wait_for(lambda: self._state(name) == "waiting" or self._state(name) == "missing")
        self.devices[name] = self.hub.plug(name, sends=old.sends, receives=old.receives)
        wait_for(lambda: self._state(name) == "open")

    def _state(self, name: str) -> str:
        status = self.live.do(self.live.status)
        return str(next(port["state"] for port in status["ports"] if port["name"] == name.lower()))

    def swap(self, text: str) -> None:
        """New rules."""
        self.prepared = prepare_texts(FILES[text], self.prepared)
        self.live.do(lambda: self.live.swap(self.prepared))

    def leave(self) -> list[Record]:
        """The daemon leaves; its journal."""
        self.live.stop()
        self.thread.join()
        self.recorder.stop_recording()
        return list(unpack(self.journal.read_bytes(), len(HEAD)))


@pytest.fixture
def stage(tmp_path: Path) -> Iterator[Stage]:
    """A stage, left in the end."""
    stage = Stage(tmp_path)
    yield stage
    stage.live.stop()
    stage.thread.join()
    stage.recorder.stop()


def perform(stage: Stage, seed: int) -> None:
    """Notes, pedals, wheels and a clock from two hands; switches, panic, new rules and pulled cables among them."""
    chance = random.Random(seed)
    for number in range(400):
        device = stage.device(chance.choice(("Keys", "Seq")))
        kind = chance.choice((0x90, 0x90, 0x80, 0xB0, 0xE0, 0xF8))
        if kind == 0xF8:
            stage.device("Seq").play(b"\xf8")
        elif kind == 0xB0:
            device.play(bytes((kind, chance.choice((1, 64, 67)), chance.choice((0, 127)))))
        else:
            device.play(bytes((kind, chance.choice(KEYS), chance.randrange(128))))
        if number % 100 == 50:
            stage.live.do(lambda: stage.live.turn("song", "chorus"))
        if number % 100 == 70:
            stage.swap(chance.choice((FIRST, SECOND)))
        if number in (130, 330):
            stage.replug(chance.choice(("Keys", "Rack")))
        if number == 250:
            stage.live.do(stage.live.panic)
        time.sleep(0.001 * (number % 3))


@pytest.mark.parametrize("seed", [1, 2])
def test_the_journal_of_a_live_run_gives_what_went_out(stage: Stage, seed: int) -> None:
    """The identical sequence of port, message and due time; and it is a take that others read."""
    perform(stage, seed)
    records = stage.leave()
    assert stage.live.errors == 0, stage.said
    assert len(went_out(records)) > 400
    assert replay(records) == went_out(records)
    saved = save(stage.journal)
    assert saved.path is not None
    data = saved.path.read_bytes()
    assert [track.name for track in saved.take.tracks] == ["keys in", "seq in", "rack out", "box out"]
    assert midicsv.events(data) == mido_reader.events(data)


def test_what_went_out_is_what_the_devices_heard(stage: Stage) -> None:
    """The journal tells the truth: with nothing lost, each output heard its records, in order."""
    for number in range(200):
        stage.device("Keys").play(bytes((0x90 if number % 2 else 0x80, KEYS[number % 4], 1 + number % 100)))
        stage.device("Seq").play(bytes((0xB0, 7, number % 128)))
        time.sleep(0.0005)
    records = stage.leave()
    for target, name in enumerate(("Rack", "Box")):
        assert stage.device(name).heard == [message for port, message, _ in went_out(records) if port == target]


def test_an_input_that_new_rules_leave_out_lets_go_in_the_take(stage: Stage) -> None:
    """Its held note ends with the rules that knew it, not with the evening; and the journal plays again as it went."""
    stage.device("Seq").play(bytes((0x90, 60, 100)))
    wait_for(lambda: not stage.device("Seq").listeners[0].waiting)
    without = '[ports]\nkeys = { input = "Keys" }\nrack = { output = "Rack" }\n'
    stage.prepared = prepare_texts((("rules.toml", without.encode()),), stage.prepared)
    stage.live.do(lambda: stage.live.swap(stage.prepared))
    records = stage.leave()
    assert replay(records) == went_out(records)
    saved = save(stage.journal)
    assert [(track.name, track.held) for track in saved.take.tracks if track.is_input] == [("seq in", 0)]
