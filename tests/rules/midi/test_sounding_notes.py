"""Which notes sound at the outputs, by the messages that go out there."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from rules.midi.neutral import panic_messages
from rules.midi.sounding_notes import SoundingNotes

MESSAGES = st.one_of(
    st.tuples(st.integers(0x80, 0x9F), st.integers(60, 62), st.integers(0, 2)).map(bytes),
    st.tuples(st.integers(0xB0, 0xB1), st.sampled_from([7, 64, 120, 123]), st.integers(0, 1)).map(bytes),
)


def test_a_note_sounds_since_it_was_struck_until_its_note_off() -> None:
    """Struck again it still sounds since the first time, and one note-off ends it."""
    notes = SoundingNotes()
    notes.hear(0, b"\x93\x3c\x64", 5)
    notes.hear(0, b"\x93\x3c\x50", 9)
    assert notes.notes == [(0, 3, 60, 5)]
    notes.hear(0, b"\x83\x3c\x40", 10)
    assert notes.notes == []


def test_a_note_on_of_velocity_0_ends_a_note() -> None:
    """Running status made that usual."""
    notes = SoundingNotes()
    notes.hear(0, b"\x90\x3c\x64", 5)
    notes.hear(0, b"\x90\x3c\x00", 6)
    assert notes.notes == []


@pytest.mark.parametrize("number", [120, 123, 124, 125, 126, 127])
def test_what_ends_all_notes_of_a_channel_ends_them(number: int) -> None:
    """Those of other channels and ports sound on."""
    notes = SoundingNotes()
    for port, status in ((0, 0x90), (0, 0x91), (1, 0x90)):
        notes.hear(port, bytes((status, 60, 100)), 5)
    notes.hear(0, bytes((0xB0, number, 0)), 6)
    assert notes.notes == [(0, 1, 60, 5), (1, 0, 60, 5)]


def test_a_panic_leaves_nothing() -> None:
    """On every channel."""
    notes = SoundingNotes()
    for channel in range(16):
        notes.hear(0, bytes((0x90 | channel, 60, 100)), 5)
    for channel in range(16):
        for message in panic_messages(channel):
            notes.hear(0, message, 6)
    assert notes.notes == []


def test_a_system_reset_ends_all_notes_of_a_port() -> None:
    """An instrument that is reset is as it was when it was switched on."""
    notes = SoundingNotes()
    notes.hear(0, b"\x90\x3c\x64", 5)
    notes.hear(0, b"\x95\x3c\x64", 5)
    notes.hear(1, b"\x95\x3c\x64", 5)
    notes.hear(0, b"\xff", 6)
    assert notes.notes == [(1, 5, 60, 5)]


@given(st.lists(MESSAGES, max_size=30), st.data())
def test_what_was_heard_before_a_beginning_does_no_harm(messages: list[bytes], data: st.DataObject) -> None:
    """A beginning may know more than what is heard then: it comes to the same once all is heard."""
    whole = SoundingNotes()
    for time, message in enumerate(messages):
        whole.hear(0, message, time)
    known = data.draw(st.integers(0, len(messages)))
    since = data.draw(st.integers(0, known))
    before, late = SoundingNotes(), SoundingNotes()
    for message in messages[:known]:
        before.hear(0, message, 0)
    late.begin(before.notes)
    for message in messages[since:]:
        late.hear(0, message, 0)
    assert {note[:3] for note in late.notes} == {note[:3] for note in whole.notes}


def test_notes_keep_their_times_when_it_begins_anew() -> None:
    """After records were missed, the notes are asked for again, without their times."""
    notes = SoundingNotes()
    notes.hear(0, b"\x90\x3c\x64", 5)
    notes.begin([(0, 0, 60, 99), (0, 0, 64, 99)])
    assert sorted(notes.notes) == [(0, 0, 60, 5), (0, 0, 64, 99)]
