"""MIDI 1.0 facts, against the tables of the standard.

M1 is the MIDI 1.0 Detailed Specification 4.2.1 (1996).
"""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from rules.midi.messages import (
    CHANNEL_STATUSES,
    KIND_OF_STATUS,
    LENGTH,
    STATUS_OF_KIND,
    TRANSPORT,
    UNDEFINED,
    is_note_off,
    is_note_on,
    message_fault,
    routed_status,
)


@pytest.mark.parametrize(
    ("first", "last", "kind", "length"),
    [  # M1 tables 1, 2, 6, 7; page 10
        (0x80, 0x8F, "note-off", 3),
        (0x90, 0x9F, "note-on", 3),
        (0xA0, 0xAF, "key-pressure", 3),
        (0xB0, 0xBF, "controller", 3),
        (0xC0, 0xCF, "program", 2),
        (0xD0, 0xDF, "channel-pressure", 2),
        (0xE0, 0xEF, "pitch-bend", 3),
        (0xF1, 0xF1, "mtc", 2),
        (0xF2, 0xF2, "song-position", 3),
        (0xF3, 0xF3, "song-select", 2),
        (0xF6, 0xF6, "tune-request", 1),
        (0xF8, 0xF8, "clock", 1),
        (0xFA, 0xFA, "start", 1),
        (0xFB, 0xFB, "continue", 1),
        (0xFC, 0xFC, "stop", 1),
        (0xFE, 0xFE, "active-sensing", 1),
        (0xFF, 0xFF, "reset", 1),
    ],
)
def test_every_status_has_the_length_and_the_name_of_the_standard(
    first: int, last: int, kind: str, length: int
) -> None:
    """As its tables give them, on every channel."""
    for status in range(first, last + 1):
        assert LENGTH[status] == length
    assert KIND_OF_STATUS[first] == kind
    assert STATUS_OF_KIND[kind] == first


def test_what_has_no_length() -> None:
    """Data bytes, sysex and the statuses that the standard leaves undefined have none (M1 p.6, A-2)."""
    assert [status for status in range(256) if LENGTH[status] == 0] == [*range(0x80), 0xF0, 0xF4, 0xF5, 0xF9, 0xFD]
    assert frozenset({0xF4, 0xF5, 0xF9, 0xFD}) == UNDEFINED


def test_kinds_of_one_channel_fill_the_channel_statuses() -> None:
    """Each of the seven channel kinds has sixteen statuses, and together they are 80-EF."""
    starts = [status for status in KIND_OF_STATUS if status < 0xF0]
    assert [status + channel for status in sorted(starts) for channel in range(16)] == list(CHANNEL_STATUSES)


def test_clock_and_transport() -> None:
    """Clock and transport are the system messages that one machine sends to keep others in time (M1 tables 6, 7)."""
    assert frozenset({0xF1, 0xF2, 0xF3, 0xF6, 0xF8, 0xFA, 0xFB, 0xFC}) == TRANSPORT


@pytest.mark.parametrize("first", [0xF1, 0xF2, 0xF3, 0xF6, 0xF8, 0xF9, 0xFA, 0xFB, 0xFC, 0xFD, 0xFE])
def test_escapes_of_clock_and_transport(first: int) -> None:
    """Escapes of F1-F3, F6 and F8-FE go with the clock and transport (ruling 34)."""
    assert routed_status(bytes((0xF7, first, 0, 0))) == first


@pytest.mark.parametrize("content", ["", "90 3C 40", "FF", "F7", "F0", "F4", "F5"])
def test_escapes_of_anything_else(content: str) -> None:
    """Other escapes go with sysex (ruling 34)."""
    assert routed_status(b"\xf7" + bytes.fromhex(content)) == 0xF0


@pytest.mark.parametrize(
    "message",
    [
        "90 3C 27",
        "80 3C 40",
        "C0 7F",
        "E0 00 40",
        "F2 0A 00",
        "F8",
        "F0 7D 01 F7",
        "F0 F7",
        "F0 7E 7F 09 01 F7",  # GM on (M1 p.52)
        "F0 7E 7F 06 01 F7",  # identity request (M1 p.40)
        "F1 76",
    ],
)
def test_messages_without_fault(message: str) -> None:
    """Complete messages have no fault."""
    assert message_fault(bytes.fromhex(message)) == ""


@pytest.mark.parametrize(
    ("message", "fault"),
    [
        ("", "a message has at least one byte"),
        ("3C 27", "3C can't begin a message"),
        ("F4", "F4 can't begin a message"),
        ("F7", "F7 can't begin a message"),
        ("FD 00", "FD can't begin a message"),
        ("90 3C", "a message with status 90 has 3 bytes, not 2"),
        ("C0 01 02", "a message with status C0 has 2 bytes, not 3"),
        ("F8 00", "a message with status F8 has 1 byte, not 2"),
        ("90 3C 80", "data bytes are 00-7F"),
        ("F0", "a sysex message ends with F7"),
        ("F0 12", "a sysex message ends with F7"),
        ("F0 12 80 F7", "between F0 and F7 every byte is 00-7F"),
        ("F0 01 F8 02 F7", "between F0 and F7 every byte is 00-7F"),
    ],
)
def test_what_keeps_bytes_from_being_one_message_is_said_in_words(message: str, fault: str) -> None:
    """With the byte or the length that is at fault."""
    assert message_fault(bytes.fromhex(message)) == fault


def test_a_note_on_of_velocity_0_is_a_note_off() -> None:
    """Everywhere (ruling 3)."""
    assert is_note_on(b"\x93\x3c\x01")
    assert not is_note_off(b"\x93\x3c\x01")
    assert not is_note_on(b"\x93\x3c\x00")
    assert is_note_off(b"\x93\x3c\x00")
    assert is_note_off(b"\x83\x3c\x40")


@given(st.binary(max_size=5))
def test_messages_are_as_long_as_their_status_says(data: bytes) -> None:
    """Whatever has no fault begins with a status, has its length, and holds no other status but the end of a sysex."""
    if message_fault(data):
        return
    assert data[0] >= 0x80
    assert len(data) == LENGTH[data[0]] or data[0] == 0xF0
    assert all(byte < 0x80 for byte in data[1:].removesuffix(b"\xf7"))
