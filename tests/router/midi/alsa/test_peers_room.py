"""The room at those who listen to an output on the ALSA sequencer."""

from __future__ import annotations

import pytest

from router.midi.alsa.kernel_calls import client_number
from router.midi.alsa.peers_room import PeersRoom
from router.midi.alsa.records import Address
from rules.ports.pacing import Pacer

PROGRAM, DEVICE = (128, 0), (16, 0)
LONG = b"\xf0" + bytes(99_998) + b"\xf7"


@pytest.mark.parametrize(
    ("name", "number"), [("Pit Keyboard:MIDI 1 20:0", 20), ("Pit Keyboard:MIDI 1", None), ("a 1:2 128:12", 128)]
)
def test_the_number_of_a_client(name: str, number: int | None) -> None:
    """From the end of a port's name."""
    assert client_number(name) == number


class Pools:
    """One program that listens, with a pool of `size` records that is read now and then; devices have none."""

    def __init__(self, size: int = 200) -> None:
        self.size = size
        self.waiting = 0
        self.lost = 0
        self.got = b""

    def pool_of(self, port: Address) -> tuple[int, int] | None:
        """How large it is, and how much of it is free."""
        return (self.size, self.size - self.waiting) if port == PROGRAM else None

    def take(self, message: bytes) -> None:
        """What is sent; too much is lost with all that waits."""
        self.got += message
        self.waiting += 1 if len(message) <= 3 else 1 - (-len(message) // 28)
        if self.waiting > self.size:
            self.lost += self.waiting
            self.waiting = 0

    def play(self, pacer: Pacer) -> int:
        """Send all that waits, reading 30 records each half millisecond; how many messages and pieces went."""
        now, sent = 0, 0
        while pacer:
            while (taken := pacer.take(now)) is not None:
                self.take(taken)
                sent += 1
            assert not pacer or now < pacer.next_time(now) <= now + 500_000
            self.waiting = max(0, self.waiting - 30)
            now += 500_000
        return sent


def test_another_program_gets_no_more_than_fits() -> None:
    """Asked of the kernel; the longest sysex goes when nothing else waits there, and nothing is ever lost."""
    pools = Pools()
    pacer = Pacer(PeersRoom(lambda: [PROGRAM], pools.pool_of, in_pieces=False))
    sysex = b"\xf0" + bytes(5_570) + b"\xf7"
    for message in [b"\x90\x3c\x64"] * 500 + [sysex] * 3 + [b"\x80\x3c\x40"] * 10:
        pacer.wait(message)
    assert (pools.play(pacer), pools.lost) == (513, 0)
    pools.waiting = 0
    assert pacer.allow(64, 0) == 64
    pools.waiting = 170
    assert pacer.allow(64, 0) == 20


@pytest.mark.parametrize("size", [8, 200, 2_000])
def test_a_sysex_of_any_length_goes_in_pieces(size: int) -> None:
    """Each fits into half of the pool, and into the buffers that programs read into, of 14,000 bytes."""
    pools = Pools(size)
    room = PeersRoom(lambda: [PROGRAM], pools.pool_of)
    assert room.piece is not None
    assert room.piece <= min(size * 14, 14_000)
    pacer = Pacer(room)
    for message in (b"\x90\x3c\x64", LONG, b"\x80\x3c\x40"):
        pacer.wait(message)
    pools.play(pacer)
    assert (pools.got, pools.lost) == (b"\x90\x3c\x64" + LONG + b"\x80\x3c\x40", 0)


class Buffer:
    """A device's buffer, which loses what doesn't fit."""

    def __init__(self, size: int) -> None:
        self.size = size
        self.waiting = 0
        self.got = b""

    def of(self, port: Address) -> tuple[int, int]:
        """How much it holds, and can take."""
        return self.size, self.size - self.waiting

    def take(self, message: bytes) -> None:
        """What is sent."""
        self.waiting += len(message)
        assert self.waiting <= self.size
        self.got += message


@pytest.mark.parametrize(("size", "at_once"), [(4_096, 145), (256, 8)])
def test_a_device_that_shows_its_buffer_gets_what_fits(size: int, at_once: int) -> None:
    """However slowly it sends on what it has: nothing of a long sysex is lost."""
    buffer = Buffer(size)
    pacer = Pacer(PeersRoom(lambda: [DEVICE], lambda port: None, buffer.of))
    for message in (b"\x90\x3c\x64", LONG, *[b"\xc0\x05"] * 3_000):
        pacer.wait(message)
    now = 0
    while pacer:
        while (taken := pacer.take(now)) is not None:
            buffer.take(taken)
        assert not pacer or now < pacer.next_time(now) <= now + 2_000_000
        buffer.waiting = max(0, buffer.waiting - 100)
        now += 2_000_000
    assert buffer.got == b"\x90\x3c\x64" + LONG + b"\xc0\x05" * 3_000
    buffer.waiting = 0
    assert pacer.allow(1_000, now) == at_once


def test_a_device_gets_what_its_buffer_should_hold() -> None:
    """Where that isn't shown: a hundred records at once, then so many in a second, and pieces that leave room."""
    room = PeersRoom(lambda: [DEVICE, PROGRAM], Pools().pool_of)
    pacer = Pacer(room)
    assert room.piece == 256
    assert pacer.allow(1_000, 0) == 100
    assert pacer.allow(1_000, 0) == 0
    assert pacer.allow(1_000, 5_000_000) == 50


def test_where_nobody_listens_nothing_need_wait() -> None:
    """A port that others may connect to later."""
    assert Pacer(PeersRoom(lambda: [], Pools().pool_of)).allow(64, 0) == 64
