"""The daemon's loop on a system that wakes it. It looks around once in an hour: what doesn't wake it isn't met."""

from __future__ import annotations

import os
import sys
import threading
from collections.abc import Callable, Iterator

import pytest

from router.daemon.live import Live
from router.files.clock import SYSTEM_CLOCK
from router.midi import scan_times
from router.midi.port_manager import PortManager
from tests.support.fake_midi_system import Device, FakeBackend, Hub
from tests.support.live_rig import OFF, ON, PROGRAM, prepared

pytestmark = pytest.mark.skipif(sys.platform != "linux", reason="no system can be waited for elsewhere")

RULES = """
[ports]
keys = { input = "Keys*" }
rack = { output = "Rack*" }
[devices]
organ = { port = "rack", channel = 1, setup = ["program 17"] }
[[rules]]
from = "keys"
to = "organ"
"""


class WakingBackend(FakeBackend):
    """A system whose descriptor tells what happens."""

    def __init__(self, hub: Hub) -> None:
        super().__init__(hub)
        self.bell = os.eventfd(0, os.EFD_NONBLOCK)
        self.descriptor = self.bell

    def receive(self) -> bool:
        """Take in that something has happened; what has arrived waits in the inputs."""
        os.eventfd_read(self.bell)
        return True

    def happens(self) -> None:
        """Tell whoever waits."""
        os.eventfd_write(self.bell, 1)


class Stage:
    """A daemon that plays in a thread of its own. `heard` waits for what the rack is sent."""

    def __init__(self) -> None:
        self.hub = Hub()
        self.keys = self.hub.plug("Keys", receives=False)
        self.rack = self._listening(self.hub.plug("Rack", sends=False))
        self.backend = WakingBackend(self.hub)
        self.live = Live(prepared(RULES), PortManager(self.backend), lambda record: None, lambda words: None)
        self.live.begin()
        self._thread = threading.Thread(target=self.live.run)
        self._thread.start()

    def _listening(self, rack: Device) -> Device:
        self._arrived = threading.Condition()
        hear: Callable[[bytes], None] = rack.hear

        def told(message: bytes) -> None:
            with self._arrived:
                hear(message)
                self._arrived.notify_all()

        rack.hear = told  # type: ignore[method-assign]
        return rack

    def heard(self, *messages: bytes) -> None:
        """Wait until these are the last messages that the rack has got."""
        with self._arrived:
            self._arrived.wait_for(lambda: self.rack.heard[-len(messages) :] == list(messages))

    def plug_rack(self) -> None:
        """Put the rack in again: the system announces it."""
        self.rack = self._listening(self.hub.plug("Rack", sends=False))
        self.announce()

    def announce(self) -> None:
        """Tell that ports have come or gone."""
        self.backend.ports_changed = True
        self.backend.happens()

    def end(self) -> None:
        """Leave."""
        self.live.stop()
        self._thread.join()
        os.close(self.backend.bell)


@pytest.fixture
def stage(monkeypatch: pytest.MonkeyPatch) -> Iterator[Stage]:
    """A daemon that waits."""
    monkeypatch.setattr(scan_times, "UPKEEP_EVERY_NS", 3_600 * 1_000_000_000)
    stage = Stage()
    yield stage
    stage.end()


def test_what_is_played_wakes_it(stage: Stage) -> None:
    """Each time."""
    for message in (ON, OFF, ON, OFF):
        stage.keys.play(message)
        stage.backend.happens()
        stage.heard(message)


def test_a_question_wakes_it(stage: Stage) -> None:
    """Each of them."""
    assert [stage.live.do(lambda: 6 * 7) for _ in range(3)] == [42, 42, 42]


def test_who_looks_at_the_switches_sees_them_turned_at_once(stage: Stage) -> None:
    """What is saved for the next start doesn't wait until the loop looks around."""
    with_switch = '[switches]\nup = { from = "keys", controller = "soft pedal" }\n'
    stage.live.do(lambda: stage.live.swap(prepared(with_switch + RULES, RULES)))
    stage.live.do(lambda: stage.live.turn("up", True))
    while stage.live.switches != {"up": True}:
        SYSTEM_CLOCK.sleep_s(0.001)


def test_a_port_that_is_announced_is_opened_at_once(stage: Stage) -> None:
    """And what its device wants is sent to it."""
    stage.heard(PROGRAM)
    stage.hub.unplug(stage.rack)
    stage.announce()
    stage.plug_rack()
    stage.heard(PROGRAM)


def test_what_is_delayed_wakes_it(stage: Stage) -> None:
    """When it is due, and not before."""
    stage.live.do(
        lambda: stage.live.swap(
            prepared(RULES.replace('to = "organ"', 'to = "organ"\nsteps = [{ delay = 20 }]'), RULES)
        )
    )
    begin = SYSTEM_CLOCK.now_ns()
    stage.keys.play(ON)
    stage.backend.happens()
    stage.heard(ON)
    assert SYSTEM_CLOCK.now_ns() - begin >= 20_000_000
    stage.keys.play(OFF)
    stage.backend.happens()
    stage.heard(OFF)
