"""The end of an error about a word that isn't known."""

from __future__ import annotations

import pytest

from rules.midi.suggestions import nearest, those_known


@pytest.mark.parametrize(
    ("word", "known", "hint"),
    [
        ("kyes", ["keys", "pads"], ' - did you mean "keys"?'),
        ("organ", ["keys", "pads"], ""),
        ("keys", [], ""),
        ("trasnpose", ["transpose"], ' - did you mean "transpose"?'),
        ("Piano", ["piano"], ' - did you mean "piano"?'),
        ("sustane", ["soft", "sustain"], ' - did you mean "sustain"?'),
        ("piano", ["stage piano", "organ"], ' - did you mean "stage piano"?'),
        ("chord", ["echo", "thin"], ""),
        ("C5", ["C3", "C4"], ""),
        ("on", ["note-on"], ""),
        ("pad", ["bass", "lead"], ""),
    ],
)
def test_a_word_that_is_nearly_right_brings_the_right_one(word: str, known: list[str], hint: str) -> None:
    """One that is far off brings none."""
    assert nearest(word, known) == hint


@pytest.mark.parametrize(
    ("names", "words"),
    [
        ([], "there is none"),
        (["song"], "the only switch is song"),
        (["song", "up"], "the switches are song, up"),
        (["a", "b", "c"], "the switches are a, b, c"),
        (["a", "b", "c", "d", "e"], "the switches are a, b, c and 2 more"),
    ],
)
def test_what_there_is_is_one_or_are_many(names: list[str], words: str) -> None:
    """Where nothing is near; a long list is cut."""
    assert those_known("switch", "switches", names, 3) == words
