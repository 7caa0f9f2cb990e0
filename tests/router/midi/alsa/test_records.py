"""The sequencer's records: each MIDI message as 28 bytes, and back."""

from __future__ import annotations

import struct

import pytest
from hypothesis import given
from hypothesis import strategies as st

from router.midi.alsa.records import LENGTH, Announcement, Arrival, packed, unpacked
from rules.midi.messages import LENGTH as LENGTHS

OURS = 3
DATA = st.integers(0, 127)
SHORT = st.sampled_from([status for status in range(256) if LENGTHS[status]]).flatmap(
    lambda status: st.lists(DATA, min_size=LENGTHS[status] - 1, max_size=LENGTHS[status] - 1).map(
        lambda data: bytes((status, *data))
    )
)
SYSEX = st.lists(DATA, max_size=100).map(lambda data: b"\xf0" + bytes(data) + b"\xf7")


def handed_over(record: bytes) -> bytes:
    """What the kernel gives the receiver: who sent it, the receiver's port, and whole records behind a sysex."""
    return record[:12] + bytes((20, 1, 128, OURS)) + record[16:] + bytes(-len(record) % LENGTH)


def control(kind: int, channel: int, number: int, value: int) -> bytes:
    """A record as another program writes it, with a controller's data."""
    return struct.pack("=BBBB8xBBBBB3xIi", kind, 0, 0, 253, 20, 1, 128, OURS, channel, number, value)


def arrived(*message: bytes) -> list[Arrival | Announcement]:
    """What arrives at our port."""
    return [Arrival(OURS, (20, 1), message, False)]


@given(st.lists(SHORT | SYSEX, max_size=8))
def test_each_message_comes_back_as_it_was(sent: list[bytes]) -> None:
    """Channel messages, system messages and sysex, one after the other."""
    records = b"".join(handed_over(packed(message, 0)) for message in sent)
    got = [message for one in unpacked(records) if isinstance(one, Arrival) for message in one.messages]
    assert got == sent


@given(st.binary(max_size=400))
def test_whatever_arrives_is_read(records: bytes) -> None:
    """Other programs may write anything: what comes of it are bytes that the port looks at."""
    for one in unpacked(records):
        if isinstance(one, Arrival) and not one.is_sysex:
            assert all(len(message) == LENGTHS[message[0]] for message in one.messages)


@pytest.mark.parametrize(
    ("record", "expected"),
    [
        (control(10, 2, 64, 127), [b"\xb2\x40\x7f"]),
        (control(13, 0, 0, -8_192), [b"\xe0\x00\x00"]),
        (control(13, 0, 0, 8_191), [b"\xe0\x7f\x7f"]),
        (control(14, 0, 7, 8_193), [b"\xb0\x07\x40", b"\xb0\x27\x01"]),
        (control(14, 0, 64, 127), [b"\xb0\x40\x7f"]),
        (control(15, 1, 300, 256), [b"\xb1\x63\x02", b"\xb1\x62\x2c", b"\xb1\x06\x02", b"\xb1\x26\x00"]),
        (control(16, 1, 0, 256), [b"\xb1\x65\x00", b"\xb1\x64\x00", b"\xb1\x06\x02", b"\xb1\x26\x00"]),
        (control(20, 0, 0, 16_383), [b"\xf2\x7f\x7f"]),
        (control(36, 0, 0, 0), [b"\xf8"]),
    ],
)
def test_what_other_programs_may_send(record: bytes, expected: list[bytes]) -> None:
    """Linux, sound/core/seq/seq_midi_event.c: two-byte controllers and whole RPN become single controllers."""
    assert list(unpacked(record)) == arrived(*expected)


def test_values_out_of_range_are_cut_to_seven_bits() -> None:
    """As the kernel does for devices."""
    assert list(unpacked(control(10, 18, 200, 300))) == arrived(bytes((0xB2, 200 & 0x7F, 300 & 0x7F)))


def test_what_the_system_announces() -> None:
    """Which port has come or gone, and which were connected: the sender first."""
    gone = struct.pack("=BBBB8xBBBBBBBB8x", 64, 0, 0, 253, 0, 1, 128, 0, 20, 1, 0, 0)
    cut = struct.pack("=BBBB8xBBBBBBBB8x", 67, 0, 0, 253, 0, 1, 128, 0, 20, 1, 128, 2)
    assert list(unpacked(gone + cut)) == [Announcement(64, (20, 1), (0, 0)), Announcement(67, (20, 1), (128, 2))]


def test_what_means_nothing_to_midi_is_left_out() -> None:
    """Notes with a length, which only queues know, time signatures, user data, and a record that is cut."""
    note, signature = control(5, 0, 0, 0), control(23, 0, 0, 0)
    data = struct.pack("=BBBB8xBBBBI8x", 135, 4, 0, 253, 20, 1, 128, OURS, 5) + bytes(LENGTH)
    assert list(unpacked(note + signature + data + control(36, 0, 0, 0) + bytes(20))) == arrived(b"\xf8")


@pytest.mark.parametrize("message", [b"\xf4", b"\xf9", b"\x90\x3c", b"\xf8\x00", b"\xc0\x01\x02"])
def test_what_is_no_message_is_refused(message: bytes) -> None:
    """In words."""
    with pytest.raises(ValueError, match="no MIDI message"):
        packed(message, 0)
