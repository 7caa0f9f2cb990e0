"""Incoming messages in words, their kinds, and readings of what arrives all the time."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from rules.listening.incoming import HEARD_KINDS, LONGEST, SteadyMessages, channel_of, in_words, kind_of, kinds_meant
from rules.midi.messages import KIND_OF_STATUS, LENGTH, SYSEX
from rules.midi.notation import Naming

MS = 1_000_000
SECOND = 1_000 * MS


@pytest.mark.parametrize(
    ("message", "told"),
    [
        (b"\x90\x3c\x64", "note-on 1 C4 100"),
        (b"\x89\x24\x40", "note-off 10 C2 64"),
        (b"\xb0\x40\x7f", "controller 1 sustain 127"),
        (b"\xbf\x7b\x00", "controller 16 all notes off 0"),
        (b"\xc3\x05", "program 4 6"),
        (b"\xe0\x00\x42", "pitch-bend 1 +256"),
        (b"\xd2\x05", "channel-pressure 3 5"),
        (b"\xfa", "start"),
        (b"\xf2\x10\x00", "song-position 16"),
        (b"\xf0\x7d\x01\xf7", "sysex F0 7D 01 F7"),
        (b"\xf0" + bytes(1_202) + b"\xf7", "sysex F0 00 00 00 00 ... (1,204 bytes)"),
        (b"\x90\x3c", "not MIDI: 90 3C"),
    ],
)
def test_messages_are_in_our_notation(message: bytes, told: str) -> None:
    """As `trace` and `send` read them; long sysex by its beginning and length, what is no message by its bytes."""
    assert in_words(message) == told


def test_keys_are_named_as_a_file_names_them() -> None:
    """Middle C may be C3, and programs may count from 0."""
    assert in_words(b"\x90\x3c\x64", Naming(middle_c=3)) == "note-on 1 C3 100"
    assert in_words(b"\xc0\x05", Naming(first_program=0)) == "program 1 5"


@given(st.sampled_from(sorted(KIND_OF_STATUS)), st.integers(0, 15), st.binary(min_size=2, max_size=40))
def test_every_message_has_a_kind_that_can_be_asked_for(status: int, channel0: int, data: bytes) -> None:
    """And a channel from 1 to 16 exactly if it has one; its words begin with the kind, and have room in `LONGEST`."""
    data = bytes(byte & 0x7F for byte in data)
    whole = bytes((status | channel0 if status < SYSEX else status,)) + data
    message = whole + b"\xf7" if status == SYSEX else whole[: LENGTH[status]]
    assert kind_of(message) in HEARD_KINDS
    assert in_words(message).startswith(kind_of(message))
    assert len(in_words(message)) <= LONGEST
    channel = channel_of(message)
    assert (channel is not None) == (message[0] < 0xF0)
    assert channel is None or channel == (message[0] & 15) + 1


def test_every_controller_has_room() -> None:
    """With the longest name, channel and value."""
    assert max(len(in_words(bytes((0xBF, number, 127)))) for number in range(128)) == LONGEST


def test_groups_stand_for_their_kinds() -> None:
    """Notes are ons and offs; without a name there is no condition."""
    assert kinds_meant(["note", "sysex"]) == {"note-on", "note-off", "sysex"}
    assert kinds_meant(["transport"]) == {"start", "continue", "stop", "song-position", "song-select"}
    assert kinds_meant([]) == frozenset()
    assert kinds_meant(HEARD_KINDS) == set(KIND_OF_STATUS.values())


def clocks(ticking: SteadyMessages, start: int, count: int, bpm: float) -> list[str]:
    """What is said of so many clocks at a tempo; 24 make a beat (MIDI 1.0 Detailed Specification 4.2.1, p. 30)."""
    step = 60 * SECOND / bpm / 24
    return [words for at in range(count) if (words := ticking.hear(b"\xf8", start + int(at * step)))]


def test_a_clock_is_told_as_a_tempo() -> None:
    """Once a beat has passed, and then only when it changes, and when it stops."""
    ticking = SteadyMessages()
    assert clocks(ticking, 0, 24, 120) == []
    assert clocks(ticking, SECOND // 2, 480, 120) == ["clock at 120.0 BPM"]
    assert ticking.bpm == pytest.approx(120)
    assert clocks(ticking, 10_500 * MS, 24 * 8, 120.5) == []
    faster = clocks(ticking, 14_500 * MS, 24 * 8, 140)
    assert faster[-1] == "clock at 140.0 BPM"
    assert len(faster) <= 4
    assert ticking.fall_silent(30 * SECOND) == ["clock ended"]
    assert ticking.bpm is None
    assert ticking.fall_silent(31 * SECOND) == []
    assert clocks(ticking, 40 * SECOND, 48, 90) == ["clock at 90.0 BPM"]


def test_active_sensing_and_time_code_are_told_once() -> None:
    """And when they stop: half a second after the last."""
    ticking = SteadyMessages()
    said = [ticking.hear(message, at * 100 * MS) for at in range(3) for message in (b"\xfe", b"\xf1\x00")]
    assert said == ["active sensing", "time code", "", "", "", ""]
    assert ticking.fall_silent(300 * MS) == []
    assert ticking.fall_silent(900 * MS) == ["active sensing ended", "time code ended"]
    assert ticking.hear(b"\xfe", 2 * SECOND) == "active sensing"


def test_what_does_not_tick_is_no_reading() -> None:
    """Notes, and transport that comes once."""
    ticking = SteadyMessages()
    assert [ticking.hear(message, 0) for message in (b"\x90\x3c\x64", b"\xfa", b"\xf0\xf7")] == [None, None, None]
