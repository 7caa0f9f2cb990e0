"""What a DIN wire carries.

M1 is the MIDI 1.0 Detailed Specification 4.2.1 (1996), RP4 MIDI Time Code (RP-004).
"""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from rules.midi.din import BYTES_A_SECOND, MICROSECONDS_A_BYTE, microseconds_on_wire, size_on_wire
from rules.midi.messages import LENGTH

NOTE_ON = bytes((0x90, 60, 100))
CHORD = [bytes((0x90, key, 100)) for key in range(60, 70)]
SHORT = st.sampled_from([status for status in range(0x80, 0x100) if LENGTH[status]]).map(
    lambda status: bytes((status, 1, 2))[: LENGTH[status]]
)


def sysex(size: int) -> bytes:
    """A sysex message of so many bytes in all, with the number for non-commercial use (M1 p.34)."""
    return bytes((0xF0, 0x7D)) + bytes(size - 3) + bytes((0xF7,))


def test_a_byte_takes_320_microseconds() -> None:
    """31.25 kbaud and ten bits a byte are 320 microseconds a byte (M1 p.1, p.9)."""
    assert MICROSECONDS_A_BYTE == 320
    assert BYTES_A_SECOND == 3125


@pytest.mark.parametrize(
    ("messages", "ms"),
    [  # from 320 microseconds a byte
        pytest.param([bytes((0xC0, 5))], 0.64, id="program change"),
        pytest.param([NOTE_ON], 0.96, id="note-on (printed in M1 A-5)"),
        pytest.param(CHORD, 9.60, id="chord of ten"),
        pytest.param([sysex(128)], 40.96, id="128 bytes of sysex"),
        pytest.param([sysex(256)], 81.92, id="256 bytes of sysex"),
        pytest.param([sysex(1024)], 327.68, id="1 KiB of sysex"),
        pytest.param([], 0, id="nothing"),
    ],
)
def test_time_on_the_wire(messages: list[bytes], ms: float) -> None:
    """Messages take the wire for as long as their bytes do."""
    assert microseconds_on_wire(messages) == round(ms * 1000)


def test_a_chord_by_running_status() -> None:
    """A chord of ten notes under one status byte takes 6.72 ms (M1 A-1 leaves the status out from the second on)."""
    assert microseconds_on_wire(CHORD, running_status=True) == 6_720


@pytest.mark.parametrize(
    ("messages", "size"),
    [  # M1 p.5 and A-2: set by a channel message, cleared by F0-F7, untouched by F8-FF
        pytest.param("90 3C 27, 90 40 2B, 90 43 25", 7, id="M1 A-1, three notes"),
        pytest.param("90 3C 27, 90 3C 00, 90 3E 29", 7, id="M1 A-1, an off of velocity 0"),
        pytest.param("B0 7C 00, B0 01 37", 5, id="M1 A-2"),
        pytest.param("90 43 40, B0 40 7F, 90 43 00, B0 7B 00, B0 40 00", 14, id="M1 A-5"),
        pytest.param("90 3C 27, F8, 90 40 2B", 6, id="clock leaves it"),
        pytest.param("90 3C 27, F6, 90 40 2B", 7, id="a tune request clears it"),
        pytest.param("90 3C 27, F0 7D F7, 90 40 2B", 9, id="sysex clears it"),
        pytest.param("90 3C 27, 91 40 2B", 6, id="another channel is another status"),
        pytest.param("F8, F8", 2, id="clocks have no running status"),
    ],
)
def test_running_status(messages: str, size: int) -> None:
    """Running status leaves out the status bytes that the standard allows to leave out."""
    assert size_on_wire(map(bytes.fromhex, messages.split(",")), running_status=True) == size


def test_what_fits_into_a_second() -> None:
    """A wire carries 1,041 messages of three bytes a second, and 2,048 of them take 2.0 s (ruling 17)."""
    assert BYTES_A_SECOND // size_on_wire([NOTE_ON]) == 1041
    assert round(microseconds_on_wire([NOTE_ON] * 2048) / 1_000_000, 1) == 2.0


def test_the_share_of_clock_and_time_code() -> None:
    """Clock at 120 BPM takes 1.536 % of a wire (48 bytes a second); time code at 30 frames 7.68 % (RP4 p.4)."""
    assert microseconds_on_wire([b"\xf8"] * 24 * 2) == 15_360
    quarter_frames_a_second = 4 * 30
    assert microseconds_on_wire([bytes((0xF1, 0))] * quarter_frames_a_second) == 76_800


@given(st.lists(SHORT))
def test_running_status_never_takes_longer(messages: list[bytes]) -> None:
    """It saves at most the status byte of each message but the first."""
    whole = size_on_wire(messages)
    assert whole == sum(map(len, messages))
    assert whole - max(0, len(messages) - 1) <= size_on_wire(messages, running_status=True) <= whole
