"""A daemon on a MIDI system in memory, in a time that passes only while its loop sleeps.

A performance is a generator: it does things, and yields how many milliseconds pass until it does more.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from functools import cache

from router.daemon.live import Live
from router.daemon.prepared_rules import Prepared, prepare_texts
from router.files.clock import Clock
from router.midi.port_manager import PortManager
from rules.journal.format import Record
from rules.midi.neutral import panic_messages
from tests.support.fake_midi_system import Device, FakeBackend, Hub

MS = 1_000_000

ON, OFF = b"\x90\x3c\x64", b"\x80\x3c\x40"
UP, UP_OFF = b"\x90\x48\x64", b"\x80\x48\x40"
PEDAL, PEDAL_UP = b"\xb0\x40\x7f", b"\xb0\x40\x00"
PROGRAM = b"\xc0\x10"
VOLUME = b"\xb0\x07\x64"
SILENCE = [message for channel in range(16) for message in panic_messages(channel)]
SWITCH = b"\xb0\x43\x7f"

RULES = """
[ports]
keys = { input = "Keys*" }
pads = { input = "Pads*" }
rack = { output = "Rack*" }
[devices]
organ = { port = "rack", channel = 1, setup = ["program 17"] }
[switches]
up = { from = "pads", controller = "soft pedal" }
[[rules]]
name = "keys"
from = "keys"
steps = [{ transpose = 12, when = "up" }]
to = "organ"
[[rules]]
name = "late"
from = "pads"
steps = [{ delay = 40 }]
to = "rack"
"""
HIGHER = (
    RULES.replace("transpose = 12", "transpose = 24").replace(', when = "up"', "").replace("delay = 40", "delay = 10")
)
"""Other rules for the same port_manager, with a shorter delay."""


@cache
def prepared(text: str, before: str | None = None) -> Prepared:
    """A rule file, ready to be played, or to be played after another."""
    return prepare_texts((("rules.toml", text.encode()),), None if before is None else prepared(before))


class LiveRig:
    """`keys`, `pads` and `rack` are the devices; `said` is what the daemon said, `slept` how long it slept each time.

    `asleep` is how long (ns) the computer has slept by then.

    With `hurry`, each sleep takes so many times longer than it was meant to. A `clock` of one's own is for threads.

    `losses` is how often inputs ran over.
    """

    def __init__(self, text: str = RULES, server: bool = False, hurry: int = 1, clock: Clock | None = None) -> None:
        self._hurry = hurry
        self.now = 7_000 * MS
        self.asleep = 0
        self.losses = 0
        self.slept: list[int] = []
        self.records: list[Record] = []
        self.said: list[str] = []
        self.hub = Hub()
        self.keys = self.hub.plug("Keys", receives=False)
        self.pads = self.hub.plug("Pads", receives=False)
        self.rack = self.hub.plug("Rack", sends=False)
        self.backend = FakeBackend(self.hub, server=server)
        self.clock = clock or Clock(lambda: self.now, sleep_s=self._sleep, boot_ns=lambda: self.now + self.asleep)
        self.live = self._made(prepared(text))
        self._script: Iterator[float] = iter(())
        self._resume = 0

    def _made(self, rules: Prepared) -> Live:
        return Live(
            rules,
            PortManager(self.backend, self.clock),
            self.records.append,
            self.said.append,
            clock=self.clock,
            losses=lambda: self.losses,
        )

    def goes(self, script: Iterable[float], *, in_silence: bool = False) -> None:
        """Play: whatever is in the script happens between two turns of the loop; then the daemon leaves."""
        self._script = iter(script)
        self._resume = self.now
        self.live.begin(in_silence=in_silence)
        self.live.run()

    def _sleep(self, seconds: float) -> None:
        nanoseconds = round(seconds * 1e9)
        self.slept.append(nanoseconds)
        self.now += nanoseconds * self._hurry
        while self.now >= self._resume:
            try:
                self._resume = self.now + round(next(self._script) * MS)
            except StopIteration:
                self.live.stop()
                return

    # -- what may happen ----------------------------------------------------------------------------------------------

    def replug(self, device: Device) -> Iterator[float]:
        """A cable is pulled, and put in again."""
        self.hub.unplug(device)
        yield 300
        again = self.hub.plug(device.name, sends=device.sends, receives=device.receives)
        for name in ("keys", "pads", "rack"):
            if getattr(self, name) is device:
                setattr(self, name, again)
        yield 300

    def swap(self, text: str) -> None:
        """New rules, of the same ports, are put in force after the first ones."""
        self.live.swap(prepared(text, RULES))


def silent(messages: Iterable[bytes]) -> bool:
    """Whether every note and pedal has ended. A note-off ends its note, however often that was struck (ruling 10)."""
    notes: set[tuple[int, int]] = set()
    pedals: dict[tuple[int, int], int] = {}
    for message in messages:
        kind, channel = message[0] & 0xF0, message[0] & 0x0F
        if kind == 0x90 and message[2]:
            notes.add((channel, message[1]))
        elif kind in (0x80, 0x90):
            notes.discard((channel, message[1]))
        elif kind == 0xB0 and message[1] in (64, 66, 67, 68, 69):
            pedals[channel, message[1]] = message[2]
        elif kind == 0xB0 and message[1] in (120, 123):
            notes = {place for place in notes if place[0] != channel}
    return not notes and all(value < 64 for value in pedals.values())
