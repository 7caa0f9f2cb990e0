"""In-keys of messages, and places of output notes."""

from __future__ import annotations

from hypothesis import given
from hypothesis import strategies as st

from rules.program.tables import in_channel_of, in_key_of, note_place, output_channel_of

BYTES = st.integers(0, 127)
CHANNELS = st.integers(0, 15)


@given(st.tuples(st.integers(0, 40), CHANNELS, BYTES), st.tuples(st.integers(0, 40), CHANNELS, BYTES))
def test_notes_have_names_of_their_own(one: tuple[int, int, int], other: tuple[int, int, int]) -> None:
    """Two notes share a name only if port, channel and key are the same; the name tells port and channel."""
    assert (note_place(*one) == note_place(*other)) == (one == other)
    assert output_channel_of(note_place(*one)) == one[:2]


@given(CHANNELS, BYTES)
def test_a_note_off_has_the_name_of_its_note_on(channel: int, key: int) -> None:
    """That is how it finds what it ends."""
    assert in_key_of(0x80 | channel, key) == in_key_of(0x90 | channel, key)
    assert in_channel_of(in_key_of(0x80 | channel, key)) == channel


@given(st.sampled_from([0xC0, 0xD0, 0xE0]), CHANNELS, BYTES)
def test_what_a_channel_has_once_has_one_name(kind: int, channel: int, value: int) -> None:
    """Programs, pressure and bends are named by their channel, whatever their value is."""
    assert in_key_of(kind | channel, value) == in_key_of(kind | channel, 0)
