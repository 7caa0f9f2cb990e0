"""The written form of notes, controllers and messages.

M1 is the MIDI 1.0 Detailed Specification 4.2.1 (1996), GM1 General MIDI System Level 1 (RP-003, 1991).
"""

from __future__ import annotations

import re

import pytest
from hypothesis import given
from hypothesis import strategies as st

from rules.errors import NotationError
from rules.midi.messages import LENGTH, STATUS_OF_KIND, message_fault
from rules.midi.notation import (
    STANDARD,
    MessageText,
    Naming,
    format_controller,
    format_message,
    format_note,
    parse_controller,
    parse_integer,
    parse_message,
    parse_note,
    parse_whole_message,
)

C3 = Naming(middle_c=3)
FROM_0 = Naming(first_program=0)
NAMINGS = st.builds(Naming, st.sampled_from([3, 4]), st.sampled_from([0, 1]))


@pytest.mark.parametrize(
    ("text", "key", "naming"),
    [
        ("C4", 60, STANDARD),  # middle C is key 60 (M1 p.10); its octave number is custom, C4 or C3
        ("C3", 60, C3),
        ("C-1", 0, STANDARD),
        ("C-2", 0, C3),
        ("G9", 127, STANDARD),
        ("G8", 127, C3),
        ("A4", 69, STANDARD),
        ("c4", 60, STANDARD),
        ("C#4", 61, STANDARD),
        ("Db4", 61, STANDARD),
        ("B#3", 60, STANDARD),
        ("Cb4", 59, STANDARD),
        ("bb3", 58, STANDARD),
        (" F#2 ", 42, STANDARD),
        ("0", 0, C3),
        ("127", 127, STANDARD),
    ],
)
def test_notes_are_read_by_name_or_as_keys(text: str, key: int, naming: Naming) -> None:
    """Names count in either convention."""
    assert parse_note(text, naming) == key


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("H4", '"H4" is not a note: write a name such as "C4", "F#2" or "Bb3", or a key 0-127'),
        ("", '"" is not a note'),
        ("C", '"C" is not a note'),
        ("C##4", '"C##4" is not a note'),
        ("C4.", '"C4." is not a note'),
        ("128", "128 is not a key: allowed is 0 to 127"),
        ("-1", "-1 is not a key"),
        ("G#9", '"G#9" is outside the keys of MIDI, C-1 to G9'),
        ("Cb-1", '"Cb-1" is outside the keys of MIDI, C-1 to G9'),
        ("C" + "9" * 5000, "is not a note"),
        ("9" * 5000, "is not a note"),
        ("²", '"²" is not a note'),
        ("C٣", '"C٣" is not a note'),
    ],
)
def test_what_is_no_note_is_refused(text: str, words: str) -> None:
    """With what a note looks like."""
    with pytest.raises(NotationError, match=re.escape(words)):
        parse_note(text)


def test_the_range_is_named_as_the_file_counts() -> None:
    """With middle C as C3 the keys go from C-2 to G8."""
    with pytest.raises(NotationError, match="outside the keys of MIDI, C-2 to G8"):
        parse_note("C9", C3)


@given(st.integers(0, 127), NAMINGS)
def test_notes_come_back(key: int, naming: Naming) -> None:
    """A note printed is read as the same key."""
    assert parse_note(format_note(key, naming), naming) == key


@pytest.mark.parametrize(
    ("key", "name"),
    [(35, "B1"), (36, "C2"), (38, "D2"), (42, "F#2"), (46, "A#2"), (49, "C#3"), (56, "G#3"), (60, "C4"), (81, "A5")],
)
def test_drum_keys_lie_where_general_midi_has_them(key: int, name: str) -> None:
    """The drum keys of General MIDI, 35 to 81 with middle C on 60 (GM1 p.2-6), lie between B1 and A5."""
    assert format_note(key) == name


@pytest.mark.parametrize(
    ("text", "number"),
    [
        ("sustain", 64),
        ("Sustain Pedal", 64),
        ("damper", 64),
        ("soft pedal", 67),
        ("soft-pedal", 67),
        ("mod_wheel", 1),
        ("  all   notes off ", 123),
        ("7", 7),
        ("0", 0),
        ("127", 127),
    ],
)
def test_controllers_are_read_by_name_or_by_number(text: str, number: int) -> None:
    """However the name is spaced."""
    assert parse_controller(text) == number


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("sustane", 'its name - did you mean "sustain"?'),
        ("128", "128 is not a controller: allowed is 0 to 127"),
        ("²", '"²" is not a controller'),
        ("", '"" is not a controller: write its number 0-127 or its name'),
    ],
)
def test_what_is_no_controller_is_refused(text: str, words: str) -> None:
    """With the nearest name."""
    with pytest.raises(NotationError, match=re.escape(words)):
        parse_controller(text)


@given(st.integers(0, 127))
def test_controllers_come_back(number: int) -> None:
    """A controller printed is read as the same number, be it named or not."""
    assert parse_controller(format_controller(number)) == number


@pytest.mark.parametrize("text", ["1_0", " 1", "1.0", "", "--1", "0x10", "9" * 5000, "٣"])
def test_only_digits_with_a_sign_are_a_whole_number(text: str) -> None:
    """Python itself would read more than that as one."""
    with pytest.raises(NotationError, match="is not a velocity: write a whole number from 1 to 127"):
        parse_integer(text, 1, 127, "a velocity")


@pytest.mark.parametrize(
    ("text", "data", "channel"),
    [
        ("note-on 4 C4 100", "93 3C 64", 4),
        ("note-on C4 100", "90 3C 64", None),
        ("note-on 60 100", "90 3C 64", None),
        ("note-on 16 60 0", "9F 3C 00", 16),
        ("note-off 4 C4 12", "83 3C 0C", 4),
        ("note-off 4 C4", "83 3C 40", 4),
        ("note-off C4", "80 3C 40", None),
        ("note-off C4 12", "80 3C 0C", None),
        ("key-pressure 4 C4 5", "A3 3C 05", 4),
        ("controller 4 sustain 127", "B3 40 7F", 4),
        ("controller sustain 127", "B0 40 7F", None),
        ("controller 4 127", "B0 04 7F", None),
        ("controller 4 4 127", "B3 04 7F", 4),
        ("controller 4 general purpose 1 5", "B3 10 05", 4),
        ("controller general purpose 1 5", "B0 10 05", None),
        ("controller 1 all notes off 0", "B0 7B 00", 1),
        ("cc 4 sustain 127", "B3 40 7F", 4),
        ("CC 07 64", "B0 07 40", None),
        ("CC 05", "CC 05", 13),  # in hex: a controller has a value
        ("control-change 4 64 127", "B3 40 7F", 4),
        ("aftertouch 4 17", "D3 11", 4),
        ("poly-aftertouch 4 C4 5", "A3 3C 05", 4),
        ("program-change 4 17", "C3 10", 4),
        ("program 4 17", "C3 10", 4),
        ("program 17", "C0 10", None),
        ("channel-pressure 4 17", "D3 11", 4),
        ("channel-pressure 17", "D0 11", None),
        # M1 p.19: 00 00 is the lowest, 00 40 the middle, 7F 7F the highest
        ("pitch-bend 1 -8192", "E0 00 00", 1),
        ("pitch-bend 1 0", "E0 00 40", 1),
        ("pitch-bend 1 +8191", "E0 7F 7F", 1),
        ("pitch-bend +512", "E0 00 44", None),
        ("sysex F0 7D 01 F7", "F0 7D 01 F7", None),
        ("sysex f07d01f7", "F0 7D 01 F7", None),
        ("song-position 10", "F2 0A 00", None),  # M1 p.27: 10 is 60 clocks
        ("song-position 16383", "F2 7F 7F", None),
        ("song-select 3", "F3 03", None),
        ("mtc 118", "F1 76", None),
        ("clock", "F8", None),
        ("Start", "FA", None),
        ("tune-request", "F6", None),
        ("93 3C 64", "93 3C 64", 4),
        ("f8", "F8", None),
        ("F0 7D 01 F7", "F0 7D 01 F7", None),
    ],
)
def test_messages_are_read_in_words_or_in_hex(text: str, data: str, channel: int | None) -> None:
    """With and without a channel."""
    assert parse_message(text) == MessageText(bytes.fromhex(data), channel)


@pytest.mark.parametrize(
    ("wire", "shown"), [(0, 1), (5, 6), (46, 47), (73, 74), (127, 128)]
)  # GM1: Acoustic Grand Piano, Electric Piano 2, Orchestral Harp, Flute, Gunshot
def test_programs_are_counted_from_1_or_from_0(wire: int, shown: int) -> None:
    """From 1 as General MIDI prints them, or from 0 as the wire does."""
    assert parse_message(f"program 1 {shown}").data == bytes((0xC0, wire))
    assert parse_message(f"program 1 {wire}", FROM_0).data == bytes((0xC0, wire))
    assert format_message(bytes((0xC0, wire))) == f"program 1 {shown}"
    assert format_message(bytes((0xC0, wire)), FROM_0) == f"program 1 {wire}"


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("", "an empty message: write one such as `note-on 4 C4 100`"),
        ("noteon 4 C4 100", '"noteon" is not a kind of message: allowed are note-off,'),
        ("noteon 4 C4 100", 'did you mean "note-on"?'),
        ("pressure 4 100", 'did you mean "channel-pressure"?'),
        ("poly-pressure 4 C4 100", 'did you mean "key-pressure"?'),
        ("note-on", "too short: write `note-on CHANNEL NOTE VELOCITY`"),
        ("note-on C4", "`note-on C4` is incomplete or too long: write `note-on CHANNEL NOTE VELOCITY`"),
        ("note-on 1 C4", "`note-on 1 C4` is incomplete or too long: write `note-on CHANNEL NOTE VELOCITY`"),
        ("key-pressure 1 C4", "is incomplete or too long: write `key-pressure CHANNEL NOTE PRESSURE`"),
        ("note-on 4 C4 100 3", "is incomplete or too long"),
        ("note-on 17 C4 100", "17 is not a channel: allowed is 1 to 16"),
        ("note-on 0 C4 100", "0 is not a channel: allowed is 1 to 16"),
        ("note-on 4 C4 128", "128 is not a velocity: allowed is 0 to 127"),
        ("note-on 4 H4 100", '"H4" is not a note'),
        ("controller 100", "`controller 100` is incomplete or too long: write `controller CHANNEL CONTROLLER VALUE`"),
        ("controller sustain", "is incomplete or too long: write `controller CHANNEL CONTROLLER VALUE`"),
        ("controller 4 sustain 128", "128 is not a value: allowed is 0 to 127"),
        ("controller 4 sustane 12", 'did you mean "sustain"?'),
        ("program 4 0", "0 is not a program: allowed is 1 to 128"),
        ("program 4 129", "129 is not a program: allowed is 1 to 128"),
        ("channel-pressure 4 128", "128 is not a pressure: allowed is 0 to 127"),
        ("pitch-bend 4 8192", "8192 is not a bend: allowed is -8192 to 8191"),
        ("song-position 16384", "16384 is not a song position: allowed is 0 to 16383"),
        ("song-position", "`song-position` has one number after it"),
        ("clock 3", "`clock` has nothing after it"),
        ("sysex F0 7D", '"sysex F0 7D": a sysex message ends with F7'),
        ("sysex 90 3C 40", '"sysex 90 3C 40": a sysex message begins with F0 and ends with F7'),
        ("sysex", '"sysex": a message has at least one byte'),
        ("sysex hello", '"sysex hello": after the kind come bytes in hex, such as F0 7D 01 F7'),
        ("90 3C", '"90 3C": a message with status 90 has 3 bytes, not 2'),
        ("F4", '"F4": F4 can\'t begin a message'),
    ],
)
def test_what_is_no_message_is_refused(text: str, words: str) -> None:
    """With the form that it should have."""
    with pytest.raises(NotationError, match=re.escape(words)):
        parse_message(text)


def test_a_message_without_a_channel_is_refused_where_one_is_needed() -> None:
    """What has no channel needs none."""
    assert parse_whole_message("note-on 4 C4 100") == b"\x93\x3c\x64"
    assert parse_whole_message("clock") == b"\xf8"
    with pytest.raises(NotationError, match='"note-on C4 100" has no channel: write it after the kind'):
        parse_whole_message("note-on C4 100")


def test_a_message_without_a_channel_takes_the_one_it_is_given() -> None:
    """`moved_to` sets it anyhow; system messages have none."""
    free, fixed, clock = (parse_message(text) for text in ("note-on C4 1", "note-on 2 C4 1", "clock"))
    assert (free.on(5), free.moved_to(5)) == (b"\x94\x3c\x01", b"\x94\x3c\x01")
    assert (fixed.on(5), fixed.moved_to(5)) == (b"\x91\x3c\x01", b"\x94\x3c\x01")
    assert (clock.on(5), clock.moved_to(5), clock.has_channel) == (b"\xf8", b"\xf8", False)
    assert (free.moved_to(None), fixed.moved_to(None)) == (b"\x90\x3c\x01", b"\x91\x3c\x01")


@pytest.mark.parametrize(
    ("data", "text"),
    [
        ("93 3C 64", "note-on 4 C4 100"),
        ("93 3C 00", "note-on 4 C4 0"),
        ("8F 3C 40", "note-off 16 C4 64"),
        ("A3 3C 05", "key-pressure 4 C4 5"),
        ("B3 40 7F", "controller 4 sustain 127"),
        ("B3 03 7F", "controller 4 3 127"),
        ("D3 11", "channel-pressure 4 17"),
        ("E3 00 44", "pitch-bend 4 +512"),
        ("E3 00 40", "pitch-bend 4 +0"),
        ("E3 00 00", "pitch-bend 4 -8192"),
        ("F0 7D 01 F7", "sysex F0 7D 01 F7"),
        ("F2 0A 00", "song-position 10"),
        ("F1 76", "mtc 118"),
        ("FC", "stop"),
        ("90 3C", "90 3C"),
        ("F4", "F4"),
        ("", ""),
    ],
)
def test_messages_print_in_the_one_written_form(data: str, text: str) -> None:
    """What is no message prints as its bytes."""
    assert format_message(bytes.fromhex(data)) == text


@st.composite
def messages(draw: st.DrawFn) -> bytes:
    """Any complete message of MIDI 1.0."""
    status = draw(
        st.sampled_from([status for status in range(0x80, 0x100) if LENGTH[status] and status != 0xF7] + [0xF0])
    )
    if status == 0xF0:
        return bytes((status, *draw(st.lists(st.integers(0, 127), max_size=8)), 0xF7))
    return bytes((status, *(draw(st.integers(0, 127)) for _ in range(LENGTH[status] - 1))))


@given(messages(), NAMINGS)
def test_messages_come_back(message: bytes, naming: Naming) -> None:
    """A message printed is read as the same bytes, in every naming."""
    text = format_message(message, naming)
    assert parse_message(text, naming).data == message
    assert parse_message(message.hex(" "), naming).data == message


WORDS = st.sampled_from([*STATUS_OF_KIND, "4", "16", "C4", "sustain", "general", "-8192", "+12", "F0", "F7", "90", "²"])


@given(st.lists(WORDS, max_size=5).map(" ".join) | st.text(max_size=12), NAMINGS)
def test_any_text_is_a_message_or_refused(text: str, naming: Naming) -> None:
    """Any text is one complete message, or is refused in words."""
    try:
        message = parse_message(text, naming).data
    except NotationError:
        return
    assert message_fault(message) == ""
