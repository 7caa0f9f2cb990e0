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


@pytest.mark.parametrize(
    ("size", "free", "room", "goes"),
    [
        (200, 0, 0, False),
        (200, 9, 0, False),
        (200, 10, 0, False),
        (200, 11, 1, True),
        (200, 200, 190, True),
        (8, 2, 0, False),
        (8, 3, 1, True),
        (2, 1, 1, True),
    ],
)
def test_a_full_pool_gets_nothing_until_it_was_read(size: int, free: int, room: int, goes: bool) -> None:
    """Ten records, or a quarter of a small pool, stay free for others that send there; it is asked again at once."""
    pools = Pools(size)
    pools.waiting = size - free
    limit = PeersRoom(lambda: [PROGRAM], pools.pool_of)
    assert limit.when(b"\x90\x3c\x64", 7) == (7 if goes else 500_007)
    assert limit.room(7) == room
    pools.waiting = 0
    assert limit.when(b"\x90\x3c\x64", 500_007) == 500_007


@pytest.mark.parametrize(("length", "records"), [(1, 1), (3, 1), (4, 2), (28, 2), (29, 3), (56, 3), (57, 4)])
def test_a_sysex_takes_records_by_its_length(length: int, records: int) -> None:
    """One, and one for each 28 bytes; it goes where they are free, and not where one is wanting."""
    pools = Pools()
    limit = PeersRoom(lambda: [PROGRAM], pools.pool_of)
    pools.waiting = 190 - records
    assert limit.when(bytes(length), 0) == 0
    pools.waiting = 191 - records
    other = PeersRoom(lambda: [PROGRAM], pools.pool_of)
    assert other.when(bytes(length), 0) == 500_000


def test_what_was_sent_counts_before_the_kernel_is_asked_again() -> None:
    """What fits has gone, a piece of a sysex among it: the next one asks, and waits for what is read."""
    asked: list[Address] = []
    pools = Pools()

    def pool_of(port: Address) -> tuple[int, int] | None:
        asked.append(port)
        return pools.pool_of(port)

    pools.waiting = 187
    limit = PeersRoom(lambda: [PROGRAM], pool_of)
    for message in (bytes(28), b"\xc0\x05"):
        assert limit.when(message, 0) == 0
        limit.spend(message, 0)
    assert len(asked) == 1
    pools.waiting = 190
    assert limit.when(b"\xc0\x05", 0) == 500_000
    assert len(asked) == 2


def test_a_sysex_that_never_fits_goes_into_an_empty_pool_only() -> None:
    """Whole, where it can't go in pieces: once there, it is as if the pool were full."""
    pools = Pools(8)
    limit = PeersRoom(lambda: [PROGRAM], pools.pool_of, in_pieces=False)
    assert limit.piece is None
    pools.waiting = 1
    assert limit.when(LONG, 0) == 500_000
    pools.waiting = 0
    assert limit.when(LONG, 500_000) == 500_000
    limit.spend(LONG, 500_000)
    pools.waiting = 8
    assert limit.when(b"\x90\x3c\x64", 500_000) == 1_000_000


def test_a_full_buffer_of_a_device_is_asked_again_later() -> None:
    """It takes far longer to empty than a pool, and the fullest of those who listen counts."""
    buffer = Buffer(256)
    buffer.waiting = 256
    limit = PeersRoom(lambda: [DEVICE, PROGRAM], Pools().pool_of, buffer.of)
    assert (limit.when(b"\x90\x3c\x64", 0), limit.room(0)) == (2_000_000, 0)
    buffer.waiting = 256 - 56
    assert (limit.when(b"\x90\x3c\x64", 0), limit.room(0)) == (0, 1)
    buffer.waiting = 256 - 55
    assert (limit.when(b"\xf0" + bytes(60), 0), limit.room(0)) == (2_000_000, 0)
