"""What the kernel shows of the ALSA sequencer: its clients, and devices that can be unplugged."""

from __future__ import annotations

import os
import re
import time
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

DRIVER = Path("/sys/bus/platform/drivers/snd_virmidi")
DEVICE = "snd_virmidi.0"
CLIENTS = Path("/proc/asound/seq/clients")


def client_number(name: str) -> int | None:
    """The number of the client of this name; None if there is none."""
    found = re.search(rf'^Client +(\d+) : "{re.escape(name)}"', CLIENTS.read_text(), re.MULTILINE)
    return int(found[1]) if found else None


@contextmanager
def unplugged(device: str = DEVICE) -> Iterator[None]:
    """Take a device of the kernel's away, as if its plug were pulled."""
    (DRIVER / "unbind").write_text(device)
    try:
        yield
    finally:
        (DRIVER / "bind").write_text(device)


class Cable:
    """The other end of a port of the kernel's device, `Virtual Raw MIDI ...:VirMIDI ...-0` for number 0.

    Bytes that are written to it arrive from the port, and what is sent to the port can be read, as on a wire.
    """

    def __init__(self, number: int) -> None:
        (card,) = (DRIVER / DEVICE / "sound").glob("card*")  # others may be there, such as a serial port
        self._end = os.open(f"/dev/snd/midiC{card.name.removeprefix('card')}D{number}", os.O_RDWR | os.O_NONBLOCK)
        self._got = bytearray()
        self.read()  # the kernel begins to listen at the first read

    def write(self, wire: bytes) -> None:
        """Send bytes, ten times as fast as a DIN wire: faster than they are fetched, they would be lost."""
        for at in range(0, len(wire), 1_000):
            assert os.write(self._end, wire[at : at + 1_000]) == len(wire[at : at + 1_000])
            time.sleep(0.032)

    def read(self) -> bytes:
        """All that has arrived so far."""
        try:
            while more := os.read(self._end, 65_536):
                self._got += more
        except BlockingIOError:
            pass
        return bytes(self._got)

    def close(self) -> None:
        """Let go of it."""
        os.close(self._end)


@contextmanager
def cable(number: int) -> Iterator[Cable]:
    """Hold the other end of a port for a while."""
    held = Cable(number)
    try:
        yield held
    finally:
        held.close()
