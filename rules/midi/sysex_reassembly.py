"""Sysex that the computer's MIDI system hands over with other messages within it, or cut by them, made whole again.

Real-time messages may stand within a sysex (MIDI 1.0 Detailed Specification 4.2.1 p. 30), and a synthesizer that
sends long ones goes on with its clock or active sensing meanwhile. Some systems then hand over the sysex up to there
with the real-time byte at its end, and its rest as a message that begins with data.
"""

from __future__ import annotations

import re
from collections.abc import Iterator
from typing import Final

from rules.midi.messages import END_OF_SYSEX, SYSEX, message_fault

_REAL_TIME: Final = bytes(range(0xF8, 0x100))
_STATUS: Final = re.compile(rb"[\x80-\xff]")
_LONGEST: Final = 4_000_000  # bytes; a device that never ends its sysex must not fill the memory


class SysexReassembly:
    """Takes what is no complete message from one input, and gives the messages that can be made of it."""

    __slots__ = ("_begun",)

    def __init__(self) -> None:
        self._begun = b""

    def mend(self, faulty: bytes) -> list[bytes]:
        """The complete messages in it, the real-time ones first; a sysex comes once its end is there."""
        if faulty[:1] > b"\x7f" and faulty[0] not in (SYSEX, END_OF_SYSEX):
            return []
        within = faulty.translate(None, _REAL_TIME)
        messages = [] if len(within) == len(faulty) else [bytes((byte,)) for byte in faulty if byte in _REAL_TIME]
        if within[:1] != bytes((SYSEX,)):
            within = self._begun + within
        self._begun = b""
        messages += self._sysex(within)
        return [message for message in messages if not message_fault(message)]

    def _sysex(self, within: bytes) -> Iterator[bytes]:
        """A sysex that ends, or the message that has broken it off."""
        if within[:1] != bytes((SYSEX,)):
            return
        found = _STATUS.search(within, 1)
        if found is None:
            self._begun = within if len(within) <= _LONGEST else b""
        elif found[0][0] == END_OF_SYSEX:
            yield within[: found.end()]
        else:
            yield within[found.start() :]
