"""Another program, in a process of its own, that plays or listens: what a keyboard or a module is to the router.

As a program: `python -m tests.live.peer CLIENT out|in PORT`. `out` reads messages in hex from standard input, a line
each, and sends them (`sleep 0.01` waits, `unplug` and `plug` take the device away and bring it back); `in` writes what
arrives, a line each.
"""

from __future__ import annotations

import os
import sys
import time
from collections.abc import Iterable, Mapping
from importlib import import_module
from typing import Any, Final

from tests.live.program import Program
from tests.live.server import until

SYSTEM: Final = "POINTSMAN_TEST_SYSTEM"

NOTE: Final = b"\x90\x3c\x64"
OFF: Final = b"\x80\x3c\x40"
"""The note-on and the note-off of a key."""
EVERY_KIND: Final = (
    *(NOTE, OFF, b"\xf8", b"\xfe", b"\xc0\x05"),
    *(b"\xf0\x7d\x01\x02\xf7", b"\xf2\x01\x02", b"\xf1\x35", b"\xfa"),
)
"""Messages of every length, with and without a channel, sysex among them."""


def system_of_tests() -> str:
    """The MIDI system on which the programs of a test meet: jack, or alsa."""
    return os.environ.get(SYSTEM, "jack")


class Peer(Program):
    """A device on the sound server."""

    def __init__(self, environment: Mapping[str, str], client: str, kind: str, port: str) -> None:
        super().__init__(environment, "tests.live.peer", client, kind, port)
        try:
            until(lambda: self.lines or self.code is not None, f"{client} opens")
            assert self.lines == ["ready"], f"{client} could not open its port"
        except AssertionError:
            self.kill()  # nobody else knows it yet
            raise
        self.lines.clear()

    def play(self, *messages: bytes | float) -> None:
        """Send messages; numbers are seconds to wait in between."""
        self.tell(*(one.hex() if isinstance(one, bytes) else f"sleep {one}" for one in messages))

    @property
    def heard(self) -> list[bytes]:
        """What has arrived so far."""
        return [bytes.fromhex(line) for line in self.lines]

    def hears(self, messages: Iterable[bytes]) -> None:
        """Wait for messages; nothing else may come before them or in between."""
        expected = list(messages)
        until(lambda: len(self.lines) >= len(expected), f"{len(expected)} messages; there are {len(self.lines)}")
        assert self.heard == expected


def main(client: str, kind: str, port: str) -> None:
    """Be the device."""
    rtmidi: Any = import_module("rtmidi")
    system = rtmidi.API_LINUX_ALSA if system_of_tests() == "alsa" else rtmidi.API_UNIX_JACK
    if kind == "out":
        output = rtmidi.MidiOut(system, name=client)
        output.open_virtual_port(port)
        print("ready")
        for line in sys.stdin:
            word, _, rest = line.strip().partition(" ")
            if word == "sleep":
                time.sleep(float(rest))
            elif word == "unplug":
                output.delete()
            elif word == "plug":
                output = rtmidi.MidiOut(system, name=client)
                output.open_virtual_port(port)
            else:
                output.send_message(bytes.fromhex(word))
    else:
        source = rtmidi.MidiIn(system, name=client, queue_size_limit=65_536)
        source.ignore_types(False, False, False)
        source.open_virtual_port(port)
        print("ready")
        while True:
            while (received := source.get_message()) is not None:
                sys.stdout.write(bytes(received[0]).hex() + "\n")
            sys.stdout.flush()
            time.sleep(0.0005)


if __name__ == "__main__":
    main(*sys.argv[1:])
