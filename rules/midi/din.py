"""What a 5-pin DIN wire carries: 31,250 bits a second, ten bits a byte, so 320 microseconds a byte.

Source: MIDI 1.0 Detailed Specification 4.2.1, p.1, p.9 and A-5; running status p.5 and A-2.
"""

from __future__ import annotations

from collections.abc import Iterable
from typing import Final

from rules.midi.messages import CLOCK, SYSEX

BITS_A_SECOND: Final = 31_250
BITS_A_BYTE: Final = 10
MICROSECONDS_A_BYTE: Final = BITS_A_BYTE * 1_000_000 // BITS_A_SECOND
BYTES_A_SECOND: Final = BITS_A_SECOND // BITS_A_BYTE


def size_on_wire(messages: Iterable[bytes], *, running_status: bool = False) -> int:
    """Return how many bytes messages take on a wire, one after the other.

    With `running_status` the sender leaves out the status byte of a channel message that repeats the last one.
    """
    size = 0
    last = 0
    for message in messages:
        status = message[0]
        size += len(message)
        if running_status and status == last:
            size -= 1
        if status < CLOCK:
            last = status if status < SYSEX else 0
    return size


def microseconds_on_wire(messages: Iterable[bytes], *, running_status: bool = False) -> int:
    """Return how long a wire is busy with messages, sent one right after the other."""
    return size_on_wire(messages, running_status=running_status) * MICROSECONDS_A_BYTE
