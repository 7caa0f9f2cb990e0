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
