"""The two sysex events of a track, F0 and F7, and what each is: a message, a packet of one, or an escape.

A complete message `F0 43 12 00 F7` is stored as `F0 04 43 12 00 F7`: the length takes the place behind the status. A
message may also come in timed packets, the first as F0 without F7 at its end, the others as F7; the last ends with F7.
An F7 event without an open packet is an escape: its bytes are sent as they are. Nothing that is transmitted may stand
between the packets of a message, so a channel event closes what was open.

Source: Standard MIDI Files 1.0 (RP-001), "sysex event".
"""

from __future__ import annotations

from enum import Enum

from rules.smf import vlq
from rules.smf.scanning import content


class SysexKind(Enum):
    """What an F0 or F7 event is."""

    COMPLETE = "complete"
    FIRST = "first packet"
    CONTINUATION = "continuation packet"
    LAST = "last packet"
    ESCAPE = "escape"

    @property
    def leaves_open(self) -> bool:
        """Whether more packets of the same message follow."""
        return self is SysexKind.FIRST or self is SysexKind.CONTINUATION


def classify(event: bytes, is_open: bool) -> SysexKind:
    """Say what an F0 or F7 event (as the file has it) is; `is_open`: the last such event `leaves_open` a message.

    The caller closes it (`is_open` false) at a channel event.
    """
    ends = event[-1] == 0xF7  # the last byte of a length is below 80, so this one is content
    if event[0] == 0xF0:
        return SysexKind.COMPLETE if ends else SysexKind.FIRST
    if not is_open:
        return SysexKind.ESCAPE
    return SysexKind.LAST if ends else SysexKind.CONTINUATION


def sent(event: bytes) -> bytes:
    """Return what an F0 or F7 event sends: a complete message from F0 to F7, a packet, or the bytes of an escape."""
    return b"\xf0" + content(event) if event[0] == 0xF0 else content(event)


def stored(message: bytes) -> bytes:
    """Return how a track stores a message: channel messages as they are, sysex with its length, others as an escape.

    A message that begins with F7 is a packet or an escape from a file, with what it sends behind the F7.
    """
    if message[0] < 0xF0:
        return message
    if message[0] in (0xF0, 0xF7):
        return message[:1] + vlq.encode(len(message) - 1) + message[1:]
    return b"\xf7" + vlq.encode(len(message)) + message
