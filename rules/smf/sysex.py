"""The two sysex events of a track, F0 and F7, and what each is: a message, a packet of one, or an escape.

A complete message `F0 43 12 00 F7` is stored as `F0 04 43 12 00 F7`: the length takes the place behind the status. A
message may also come in timed packets, the first as F0 without F7 at its end, the others as F7; the last ends with F7.
An F7 event without an open packet is an escape: its bytes are sent as they are. Nothing that is transmitted may stand
between the packets of a message, so a channel event closes what was open.

Source: Standard MIDI Files 1.0 (RP-001), "sysex event".
"""

from __future__ import annotations

from rules.smf import vlq
from rules.smf.scanning import content


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
