"""Records on a descriptor: a pair of sockets carries them, with a kernel at the other end."""

from __future__ import annotations

import errno
import os
import socket
import struct
from collections.abc import Iterator

import pytest

from router.midi.alsa.record_stream import RecordStream
from router.midi.alsa.records import LENGTH, Address, packed, unpacked

OURS = 128
KEYS, PADS = (20, 0), (24, 0)
NOTE, OFF, CLOCK = b"\x90\x3c\x64", b"\x80\x3c\x40", b"\xf8"


class Kernel:
    """The other end of the descriptor."""

    def __init__(self) -> None:
        self.end, ours = socket.socketpair()
        ours.setblocking(False)
        self._ours = ours
        self.failures: list[int] = []
        self.stream = RecordStream(ours.fileno(), OURS, self._read)

    def _read(self, descriptor: int, buffers: list[memoryview]) -> int:
        if self.failures:
            raise OSError(self.failures.pop(), "the kernel says no")
        return os.readv(descriptor, buffers)

    def deliver(self, *messages: bytes, port: int = 0, source: Address = KEYS) -> None:
        """Hand messages, or parts of a sysex, over to one of our ports."""
        for message in messages:
            record = packed(message, 0)
            record = record[:12] + bytes((*source, OURS, port)) + record[16:]
            self.end.sendall(record + bytes(-len(record) % LENGTH))

    def announce(self, kind: int, *addresses: Address) -> None:
        """Tell what has come, gone or been connected."""
        told = bytes(number for address in addresses for number in address).ljust(12, b"\0")
        self.end.sendall(struct.pack("=BBBB8xBBBB", kind, 0, 0, 253, 0, 1, OURS, 0) + told)

    def close(self) -> None:
        """Close both ends."""
        self.end.close()
        self._ours.close()


@pytest.fixture
def kernel() -> Iterator[Kernel]:
    """A kernel."""
    made = Kernel()
    yield made
    made.close()


def test_all_that_waits_is_taken_in_at_once(kernel: Kernel) -> None:
    """Each of our ports gets what was sent to it, in order; with nothing there nothing is waited for."""
    keys, pads = kernel.stream.open_inbox(0), kernel.stream.open_inbox(1)
    assert not kernel.stream.receive()
    kernel.deliver(NOTE, OFF)
    kernel.deliver(CLOCK, port=1)
    kernel.deliver(b"\xf0\x7d\x01\xf7")
    assert kernel.stream.receive()
    assert [keys.get_message() for _ in range(4)] == [(NOTE, 0.0), (OFF, 0.0), (b"\xf0\x7d\x01\xf7", 0.0), None]
    assert [pads.get_message() for _ in range(2)] == [(CLOCK, 0.0), None]


def test_a_sysex_in_parts_is_put_together_for_each_sender(kernel: Kernel) -> None:
    """A clock between its parts comes first, and the parts of another sender don't get among them."""
    inbox = kernel.stream.open_inbox(0)
    kernel.deliver(b"\xf0\x01\x02", CLOCK)
    kernel.deliver(b"\xf0\x03", source=PADS)
    kernel.deliver(b"\x04\xf7")
    kernel.deliver(b"\xf7", source=PADS)
    kernel.stream.receive()
    got = [received[0] for _ in range(3) if (received := inbox.get_message())]
    assert got == [CLOCK, b"\xf0\x01\x02\x04\xf7", b"\xf0\x03\xf7"]


def test_a_sysex_that_never_ends_is_handed_over_when_the_next_begins(kernel: Kernel) -> None:
    """So that the port counts it; and what is far too long does not fill the memory."""
    inbox = kernel.stream.open_inbox(0)
    kernel.deliver(b"\xf0\x01", b"\xf0\x02\xf7")
    kernel.stream.receive()
    assert [inbox.get_message() for _ in range(3)] == [(b"\xf0\x01", 0.0), (b"\xf0\x02\xf7", 0.0), None]
    kernel.deliver(b"\xf0")
    for _ in range(81):
        kernel.deliver(bytes(50_000))
        kernel.stream.receive()
    assert len(inbox) == 1


def test_an_overflow_is_counted_and_ports_are_looked_for(kernel: Kernel) -> None:
    """The kernel says that it lost what waited, announcements among it; what comes later is read as ever."""
    inbox = kernel.stream.open_inbox(0)
    kernel.failures.append(errno.ENOSPC)
    kernel.deliver(NOTE)
    assert kernel.stream.receive()
    assert (kernel.stream.overflows, kernel.stream.announced, inbox.get_message()) == (1, True, (NOTE, 0.0))


def test_another_failure_of_the_kernel_ends_a_look(kernel: Kernel) -> None:
    """Nothing is raised: the loop goes on."""
    kernel.failures.append(errno.EIO)
    assert not kernel.stream.receive()
    assert kernel.stream.overflows == 0


def test_ports_of_others_that_come_and_go_are_noticed(kernel: Kernel) -> None:
    """Ours come and go because we make them; a connection counts if it is one of ours."""
    for kind in (60, 63, 65):
        kernel.announce(kind, (OURS, 1))
    kernel.announce(66, KEYS, PADS)
    kernel.announce(67, KEYS, PADS)
    kernel.stream.receive()
    assert (kernel.stream.changes, kernel.stream.announced) == (0, False)
    kernel.announce(66, KEYS, (OURS, 1))
    kernel.stream.receive()
    assert (kernel.stream.changes, kernel.stream.announced) == (1, False)
    kernel.announce(67, KEYS, (OURS, 1))
    kernel.stream.receive()
    assert (kernel.stream.changes, kernel.stream.announced) == (2, True)
    kernel.stream.announced = False
    kernel.announce(64, PADS)
    kernel.stream.receive()
    assert (kernel.stream.changes, kernel.stream.announced) == (3, True)


def test_more_than_the_loop_can_take_is_left_to_the_kernel(kernel: Kernel) -> None:
    """It has an end to what it keeps, and says so when that is passed; our memory would not."""
    inbox = kernel.stream.open_inbox(0)
    record = packed(NOTE, 0)
    batch = (record[:12] + bytes((*KEYS, OURS, 0)) + record[16:]) * 1_000
    kernel.end.setblocking(False)
    for _ in range(40):
        sent = 0
        try:
            sent = kernel.end.send(batch)
        except BlockingIOError:
            break
        assert sent % LENGTH == 0
        kernel.stream.receive()
    assert 16_000 < len(inbox) < 22_000


def test_what_is_sent_arrives_as_records(kernel: Kernel) -> None:
    """From our port to all that listen to it; one write for each, so that it is known whose was refused."""
    for message in (NOTE, b"\xf0\x01", b"\x02\xf7"):
        kernel.stream.send(5, message)
    written = kernel.end.recv(1_000)
    assert written[:LENGTH][12:16] == bytes((0, 5, 254, 253))
    assert written == b"".join(packed(message, 5) for message in (NOTE, b"\xf0\x01", b"\x02\xf7"))
    assert next(unpacked(written)).messages == (NOTE,)  # type: ignore[union-attr]


def test_a_port_that_is_closed_hears_nothing(kernel: Kernel) -> None:
    """What was still on its way to it is dropped."""
    inbox = kernel.stream.open_inbox(0)
    kernel.deliver(NOTE)
    kernel.stream.close_inbox(0)
    assert kernel.stream.receive()
    assert inbox.get_message() is None
