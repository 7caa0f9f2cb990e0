"""A device with a wire that is slow, as those with a serial port are: only the emulated machine has one.

What arrives at its wire is in a file.
"""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

from tests.live.server import until
from tests.live.thru import Thru

MakeThru = Callable[..., Thru]

WIRE = Path("/run/emulation/wire")
MODULE = "Serial*"
OUTPUT = b"\xf5\x01"
"""What the driver sends first: which of the outputs behind the port is meant."""


def test_a_slow_device_gets_a_sysex_of_any_length_whole(thru: MakeThru) -> None:
    """Its buffer holds 4,096 bytes, and it loses what doesn't fit: it is asked how much does."""
    before = len(WIRE.read_bytes())
    router = thru(f"out:module={MODULE}")
    router.tell("flood 2000", "sysex 60000", "flood 1")
    notes = b"\x90" + b"".join(bytes((at >> 7 & 127, at & 127)) for at in range(2_000))
    expected = OUTPUT + notes + b"\xf0" + bytes(59_998) + b"\xf7" + b"\x90\x00\x00"
    until(lambda: len(WIRE.read_bytes()) - before >= len(expected), "all that was sent")
    assert WIRE.read_bytes()[before:] == expected
