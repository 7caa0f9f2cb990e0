"""A keyboard, a rack, and ports to them, in a time that passes when it is told to."""

from __future__ import annotations

from router.files.clock import Clock
from router.midi.input_port import InputPort
from router.midi.port_events import PortEvent
from router.midi.port_manager import PortManager
from rules.ports.patterns import Wanted
from tests.support.fake_midi_system import Device, FakeBackend, Hub

NOTE = b"\x90\x3c\x64"
OFF = b"\x80\x3c\x40"
SECOND = 1_000_000_000

KEYS = Wanted("keys", "in", "Pit Key*")
RACK = Wanted("rack", "out", "Rack*")
TAKE = Wanted("take", "out", "take", virtual=True)


def told(events: list[PortEvent]) -> list[tuple[str, str]]:
    """Kinds and words."""
    return [(event.kind, event.words) for event in events]


class Rig:
    """A keyboard, a rack, and ports to them."""

    def __init__(self, *wanted: Wanted, server: bool = False, numbered: bool = True, tells: bool = False) -> None:
        self.hub = Hub(numbered, tells)
        self.stage: Device = self.hub.plug("Pit Keyboard", receives=False)
        self.rack: Device = self.hub.plug("Rack", sends=False)
        self.backend = FakeBackend(self.hub, server=server)
        self.now = 100 * SECOND
        self.ports = PortManager(self.backend, Clock(lambda: self.now, sleep_s=self._sleep))
        self.first = self.ports.want(wanted or (KEYS, RACK), self.now)

    def _sleep(self, seconds: float) -> None:
        self.now += round(seconds * SECOND)

    def scan(self, seconds: float = 0.25) -> list[tuple[str, str]]:
        """What is said a moment later; whatever arrived is counted, as the loop does."""
        self.now += int(seconds * SECOND)
        for input_port in self.ports.inputs:
            while input_port.get_message() is not None:
                input_port.messages += 1
        self.ports.pump(self.now)
        return told(self.ports.scan(self.now))

    def input_port(self, name: str) -> InputPort:
        """An open input, by our name."""
        return next(input_port for input_port in self.ports.inputs if input_port.name == name)

    def die(self) -> list[tuple[str, str]]:
        """The server dies; what is said until it is missed."""
        self.hub.die()
        said: list[tuple[str, str]] = []
        began = self.now
        while not self.backend.losses:
            said += self.scan(0.1)
            assert self.now < began + 60 * SECOND, "nobody misses the server"
        return said

    def passes(self) -> bool:
        """Whether a note comes in, and another goes out."""
        self.stage.play(NOTE)
        came = self.input_port("keys").get_message()
        self.ports.outputs["rack"].send(NOTE, self.now)
        for _ in range(2):  # a server answers once before anything goes over a new connection
            self.now += 1_000_000
            self.ports.pump(self.now)
        return came is not None and self.rack.messages == [NOTE]
