"""How wide texts get, and how they are shortened. The measure of all is the font DejaVu Sans."""

from __future__ import annotations

import string
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from pictures.measure_font import FILES, FOLDER, module, widths
from rules.drawing import font_widths
from rules.drawing.font_widths import BOLD, REGULAR
from rules.drawing.text_width import shortened, text_width


def test_the_tables_are_those_of_the_font() -> None:
    """The module says what the script writes from the font of this machine."""
    assert Path(font_widths.__file__).read_text(encoding="utf-8") == module(FOLDER)


@pytest.mark.parametrize(("table", "name"), [(REGULAR, "REGULAR"), (BOLD, "BOLD")])
def test_no_letter_is_wider_than_its_table_says(table: dict[str, int], name: str) -> None:
    """Tables give hundredths of the size, rounded up, for each letter that the font has."""
    found = widths(FOLDER / FILES[name])
    assert {letter: table[letter] for letter in string.printable if letter in table} == {
        letter: width for letter, width in found.items() if letter in string.printable
    }


def test_width_grows_with_size_and_weight() -> None:
    """Twice the size is twice the width; bold is wider."""
    assert text_width("organ", 20) == 2 * text_width("organ", 10)
    assert text_width("organ", 10, bold=True) > text_width("organ", 10)


def test_letters_that_are_not_in_the_tables() -> None:
    """East Asian letters are a bit wider than the size, combining marks take no room, others count as wide."""
    assert text_width("低", 100) == 105
    assert text_width("e\u0301", 100) == text_width("e", 100)
    assert text_width("\u0e01", 100) == 120


@given(st.text(), st.floats(0, 500))
def test_a_shortened_text_fits(text: str, room: float) -> None:
    """It is the whole text, or its beginning and an ellipsis, or nothing, and never wider than the room."""
    short = shortened(text, 10, room)
    assert text_width(short, 10) <= room or short == text == ""
    assert short in (text, "") or (short.endswith("\u2026") and text.startswith(short[:-1]))
