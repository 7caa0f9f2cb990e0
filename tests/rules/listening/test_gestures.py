"""What a gesture's messages tell about what was pressed or moved."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from rules.listening.gestures import Control, controls
from rules.midi.notation import STANDARD, Naming, parse_whole_message
from tests.rules.listening.random_messages import ANY_MESSAGE


def touched(*texts: str) -> list[Control]:
    """What was touched, from messages in words."""
    return controls(parse_whole_message(text) for text in texts)


@pytest.mark.parametrize(
    ("texts", "words"),
    [
        (["note-on 10 C2 97", "note-off 10 C2"], "note C2 (key 36), channel 10: velocity 97"),
        (["note-on 1 C4 20", "note-on 1 C4 0"], "note C4 (key 60), channel 1: velocity 20"),
        (["note-off 1 C4 64"], "note C4 (key 60), channel 1"),
        (["controller 1 sustain 127", "controller 1 sustain 0"], "pedal or button sustain (64), channel 1: 127, 0"),
        (
            ["controller 1 64 30", "controller 1 64 64", "controller 1 64 90"],
            "pedal or button sustain (64), channel 1: 30, 64, 90",
        ),
        (["controller 2 20 127"], "pedal or button 20, channel 2: 127"),
        (["controller 2 20 3", "controller 2 20 4", "controller 2 20 9"], "controller 20, channel 2: from 3 to 9"),
        (["controller 2 volume 3", "controller 2 volume 4"], "controller volume (7), channel 2: 3, 4"),
        (["controller 1 modulation 9", "controller 1 33 127"], "controller modulation (1), channel 1: 9"),
        (["controller 1 123 0"], "controller all notes off (123), channel 1: 0"),
        (["program 5 17"], "program 17, channel 5"),
        (["controller 5 0 3", "controller 5 32 1", "program 5 17"], "program 17 of bank 3/1, channel 5"),
        (["controller 5 0 3", "program 5 17"], "program 17 of bank 3/0, channel 5"),
        (["pitch-bend 1 +512", "pitch-bend 1 -8192"], "pitch bend, channel 1: from -8192 to +512"),
        (
            ["channel-pressure 1 3", "channel-pressure 1 9", "channel-pressure 1 90"],
            "aftertouch (channel pressure), channel 1: from 3 to 90",
        ),
        (["key-pressure 1 C4 3"], "pressure on the key C4 (key 60), channel 1: 3"),
        (["sysex F0 7D 01 F7"], "sysex of 4 bytes, F0 7D 01 F7"),
        (["sysex F0 7D 01 02 03 04 05 06 F7"], "sysex of 9 bytes, F0 7D 01 02 03 04 05 06 ..."),
        (["clock", "clock"], "clock"),
        (["start"], "start"),
        (["song-position 10"], "song-position"),
    ],
)
def test_each_gesture_is_told_in_words(texts: list[str], words: str) -> None:
    """One control, with what is on it, its channel, and what it did; 64-69 are pedals (MIDI 1.0 table 3)."""
    assert [control.words(STANDARD) for control in touched(*texts)] == [words]


def test_words_follow_the_naming_of_the_file() -> None:
    """Middle C and the first program are called as the file calls them."""
    naming = Naming(middle_c=3, first_program=0)
    told = [control.words(naming) for control in touched("note-on 1 60 9", "program 1 17")]
    assert told == ["note C3 (key 60), channel 1: velocity 9", "program 16, channel 1"]


def test_a_gesture_may_touch_several_things() -> None:
    """They come in the order of the first touch; the same key on two channels is two things."""
    found = touched(
        "note-on 1 C4 9", "note-on 2 C4 9", "channel-pressure 1 50", "note-off 1 C4", "controller 1 sustain 127"
    )
    assert [control.identity for control in found] == [
        ("note", 1, 60),
        ("note", 2, 60),
        ("channel-pressure", 1, None),
        ("controller", 1, 64),
    ]


def test_what_says_only_that_somebody_is_there_is_no_gesture() -> None:
    """Active sensing and system reset come without a hand."""
    assert touched("active-sensing", "reset") == []


def test_halves_are_joined_on_their_own_channel_only() -> None:
    """A low half without its high half is a controller of its own; a bank without a program is as well."""
    found = touched("controller 1 modulation 9", "controller 2 33 9", "controller 3 0 1", "program 4 1")
    assert [control.identity for control in found] == [
        ("controller", 1, 1),
        ("controller", 2, 33),
        ("controller", 3, 0),
        ("program", 4, 0),
    ]
    assert not any(control.fine for control in found)


def test_a_fine_controller_is_told_as_one() -> None:
    """Its low half, 32 above it, makes it fine, whichever came first (MIDI 1.0 p. 12)."""
    for texts in (["controller 1 7 9", "controller 1 39 9"], ["controller 1 39 9", "controller 1 7 9"]):
        (control,) = touched(*texts)
        assert (control.identity, control.fine) == (("controller", 1, 7), True)


@given(st.lists(ANY_MESSAGE, max_size=30))
def test_any_gesture_can_be_told(gesture: list[bytes]) -> None:
    """Whatever arrives, each thing is told once."""
    found = controls(gesture)
    named = [control.identity for control in found if control.kind != "sysex"]
    assert len(set(named)) == len(named)
    assert all(control.words(STANDARD) for control in found)
