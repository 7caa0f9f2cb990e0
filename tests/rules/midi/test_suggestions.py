"""The end of an error about a word that isn't known."""

from __future__ import annotations

import pytest

from rules.midi.suggestions import nearest


@pytest.mark.parametrize(
    ("word", "known", "hint"),
    [
        ("kyes", ["keys", "pads"], ' - did you mean "keys"?'),
        ("organ", ["keys", "pads"], ""),
        ("keys", [], ""),
    ],
)
def test_a_word_that_is_nearly_right_brings_the_right_one(word: str, known: list[str], hint: str) -> None:
    """One that is far off brings none."""
    assert nearest(word, known) == hint
