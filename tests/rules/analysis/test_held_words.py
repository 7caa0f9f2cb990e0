"""What is held, in words."""

from __future__ import annotations

import pytest

from rules.analysis.held_words import held_words
from rules.midi.notation import STANDARD


@pytest.mark.parametrize(
    ("status", "number", "words"),
    [
        (0x93, 60, "note C4"),
        (0xA0, 60, "key pressure of C4"),
        (0xB0, 64, "sustain"),
        (0xD0, 0, "channel pressure"),
        (0xEF, 0, "pitch bend"),
    ],
)
def test_each_kind_has_its_words(status: int, number: int, words: str) -> None:
    """Whatever the channel."""
    assert held_words(status, number, STANDARD) == words
