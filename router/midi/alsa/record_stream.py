"""What comes in and goes out as records on the sequencer's descriptor: an inbox for each of our ports."""

from __future__ import annotations

import errno
import os
from collections import deque
from collections.abc import Callable, Sequence
from typing import Final

from router.midi.alsa.records import (
    CLIENT_START,
    LENGTH,
    PORT_CHANGE,
    UNSUBSCRIBED,
    Address,
    Announcement,
    Arrival,
    packed,
    unpacked,
)
from rules.midi.messages import END_OF_SYSEX, SYSEX

POOL: Final = 2_000
"""Records that the kernel keeps until we read them: the most that it grants (SNDRV_SEQ_MAX_CLIENT_EVENTS)."""

_LONGEST: Final = (POOL + 1) * LENGTH  # bytes of one record and its sysex, which fills the pool at most
_BUFFER: Final = 2 * _LONGEST
_MOST_WAITING: Final = 16_384
"""Messages that wait for the loop in all inboxes; more are left to the kernel, which counts what it can't keep."""

_A_LOT: Final = 32 * LENGTH
"""Bytes at one reading. The loop takes at least so many messages before the next one: only when more come can they pile
up."""

_LONGEST_SYSEX: Final = 4_000_000  # bytes; a device that never ends its sysex must not fill the memory


class Inbox:
    """What waits at one of our ports. A sysex that comes in parts is put together, for each sender by itself."""

    def __init__(self) -> None:
        self._messages: deque[bytes] = deque()
        self._parts: dict[Address, bytearray] = {}

    def __len__(self) -> int:
        return len(self._messages)

    def get_message(self) -> tuple[Sequence[int], float] | None:
        """Return the next message; None where nothing waits. Nobody needs the time since the one before."""
        return (self._messages.popleft(), 0.0) if self._messages else None

    def put(self, arrival: Arrival) -> None:
        """Take in what arrived."""
        if arrival.is_sysex:
            self._put_part(arrival.source, arrival.messages[0])
        else:
            self._messages.extend(arrival.messages)

    def _put_part(self, source: Address, part: bytes) -> None:
        """Real-time messages within a sysex come as messages of their own, whatever part they came between."""
        begun = self._parts.pop(source, None)
        if part[0] == SYSEX or begun is None:
            if begun is not None:
                self._messages.append(bytes(begun))  # it never ended: the port counts it
            begun = bytearray()
        begun += part
        if part[-1] == END_OF_SYSEX or len(begun) > _LONGEST_SYSEX:
            self._messages.append(bytes(begun))
        else:
            self._parts[source] = begun


class RecordStream:
    """Reads and writes records on a descriptor that doesn't block.

    `ours` is the number of our client. `overflows` counts how often the kernel could not keep what came, and lost all
    that waited. `changes` counts what may have changed what others see and are connected to, `announced` is set when a
    port of another program may have come or gone, or a connection of ours has been cut.
    """

    def __init__(self, descriptor: int, ours: int, read: Callable[[int, list[memoryview]], int] = os.readv) -> None:
        self.descriptor = descriptor
        self.overflows = 0
        self.changes = 0
        self.announced = False
        self._ours = ours
        self._read = read
        self._buffer = memoryview(bytearray(_BUFFER))
        self._inboxes: dict[int, Inbox] = {}
        self._may_be_full = False

    def open_inbox(self, port: int) -> Inbox:
        """Keep what arrives at a port of ours from now on."""
        inbox = self._inboxes[port] = Inbox()
        return inbox

    def close_inbox(self, port: int) -> None:
        """Drop what arrives at a port of ours."""
        self._inboxes.pop(port, None)

    def receive(self) -> bool:
        """Take in all that waits; return whether anything did. Never waits, and never raises.

        Where the kernel has lost records, ports may have come and gone unannounced.
        """
        received = False
        while not (self._may_be_full and self._is_full()):
            try:
                length = self._read(self.descriptor, [self._buffer])
            except BlockingIOError:
                break
            except OSError as error:
                if error.errno != errno.ENOSPC:
                    break
                self.overflows += 1
                self._change()
                received = True
                continue
            received = received or length > 0
            self._sort(self._buffer[:length])
            self._may_be_full = self._may_be_full or length > _A_LOT
            if length <= _BUFFER - _LONGEST:
                break  # there was room for any record: none waits
        return received

    def _is_full(self) -> bool:
        """Whether enough waits for the loop. Only asked after much has come at once."""
        waiting = sum(map(len, self._inboxes.values()))
        self._may_be_full = waiting > 0
        return waiting >= _MOST_WAITING

    def _sort(self, records: memoryview) -> None:
        for one in unpacked(records):
            if isinstance(one, Announcement):
                self._hear(one)
            elif (inbox := self._inboxes.get(one.port)) is not None:
                inbox.put(one)

    def _hear(self, announcement: Announcement) -> None:
        """Our own ports come and go because we make them, and whom we connect to we know."""
        ours = self._ours in (announcement.first[0], announcement.second[0])
        if CLIENT_START <= announcement.kind <= PORT_CHANGE:
            if announcement.first[0] != self._ours:
                self._change()
        elif ours:
            self.changes += 1
            self.announced = self.announced or announcement.kind == UNSUBSCRIBED

    def _change(self) -> None:
        self.changes += 1
        self.announced = True

    def send(self, port: int, message: Sequence[int]) -> None:
        """Send a message, or a part of a sysex, from a port of ours.

        Raises ValueError for what is no message, and OSError where a receiver can't take it.
        """
        os.write(self.descriptor, packed(message, port))
