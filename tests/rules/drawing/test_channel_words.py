"""Channels on the lines of a picture."""

from __future__ import annotations

import pytest

from rules.drawing.channel_words import channel_words, leaving_words, taken_words
from rules.midi.messages import CLOCK, NOTE_ON, SYSEX
from rules.program.forms import Form


@pytest.mark.parametrize(
    ("channels", "words"),
    [({4}, "ch 4"), ({1, 2, 3, 4, 10}, "ch 1-4, 10"), (set(range(1, 17)), "all ch"), ({1, 3}, "ch 1, 3")],
)
def test_channels_in_words(channels: set[int], words: str) -> None:
    """Neighbours are a range."""
    assert channel_words(channels) == words


def notes_on(*channels: int) -> list[Form]:
    """Note-ons on channels 1-16."""
    return [Form(NOTE_ON | channel - 1) for channel in channels]


def test_a_device_may_have_a_channel_of_its_own() -> None:
    """Then the line says from which to which, unless it is the same."""
    assert leaving_words(notes_on(11), 4) == "ch 11 \u2192 4"
    assert leaving_words(notes_on(4), 4) == "ch 4"
    assert leaving_words(notes_on(11), None) == "ch 11"


def test_messages_without_a_channel() -> None:
    """Sysex, clock, or nothing at all."""
    assert taken_words([Form(SYSEX)]) == "sysex"
    assert taken_words([Form(CLOCK)]) == "clock"
    assert leaving_words([], 4) == "nothing"
