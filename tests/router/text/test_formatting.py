"""How the program speaks."""

from __future__ import annotations

import errno

from hypothesis import given
from hypothesis import strategies as st

from router.text.formatting import columns, count, fitted, fitted_columns, number, plain, why


def test_machine_answers_are_put_into_plain_words() -> None:
    """A full disk is told as such, and an answer we have no words for in the machine's own."""
    assert why(OSError(errno.ENOSPC, "No space left on device")) == "no space is left on the disk"
    assert why(OSError(errno.ETXTBSY, "Text file busy")) == "text file busy"
    assert why(OSError("odd")) == "odd"
    assert why(OSError()) == "oserror"


def test_numbers_are_easy_to_read() -> None:
    """Thousands are set apart, and one thing is not several."""
    assert number(1234567) == "1,234,567"
    assert [count(1, "file"), count(2, "file"), count(0, "try", "tries")] == ["1 file", "2 files", "0 tries"]


@given(st.text())
def test_no_name_can_upset_a_terminal(text: str) -> None:
    """Whatever a file or track is called, what is printed is one line without control characters."""
    shown = plain(text)
    assert len(shown.splitlines()) <= 1
    assert not any(ord(letter) < 32 or 127 <= ord(letter) < 160 for letter in shown)


def test_plain_leaves_ordinary_names_alone() -> None:
    """Letters of any script stay; an escape sequence is shown as the code it is."""
    assert plain("Grün ♪.mid") == "Grün ♪.mid"
    assert plain("a\x1b[31m\n") == "a\\x1b[31m\\x0a"


def test_columns_line_up() -> None:
    """Cells are padded to the widest of their column, numbers to the right, and no line ends in spaces."""
    rows = [("file", "notes", ""), ("a.mid", "7", "x"), ("b", "1,000", "")]
    assert columns(rows, right=frozenset({1})) == ["file   notes", "a.mid      7  x", "b      1,000"]


def test_long_names_lose_their_middle() -> None:
    """Both ends of a name tell it from others: the first words, and the number at the end."""
    assert fitted("Pit Keyboard:MIDI 1", 19) == "Pit Keyboard:MIDI 1"
    assert fitted("Pit Keyboard:MIDI 1", 14) == "Pit Ke...IDI 1"
    assert fitted("Pit Keyboard:MIDI 1", 5) == "P...1"


@given(st.text(), st.integers(5, 100))
def test_no_name_is_wider_than_its_column(text: str, width: int) -> None:
    """What fits stays whole."""
    shown = fitted(text, width)
    assert len(shown) == min(len(text), width)
    assert (shown == text) == (len(text) <= width) or "..." in text


def test_columns_of_names_make_room() -> None:
    """The first column named is shortened first, down to 12 characters; what isn't a name stays."""
    rows = [("port", "state", "computer"), ("k" * 20, "missing", "c" * 20)]
    assert fitted_columns(rows, (2, 0), 51)[1] == f"{'k' * 20}  missing  {'c' * 20}"
    assert fitted_columns(rows, (2, 0), 45)[1] == f"{'k' * 20}  missing  cccccc...ccccc"
    assert fitted_columns(rows, (2, 0), 40)[1] == "kkkkkkk...kkkkkkk  missing  ccccc...cccc"
    assert fitted_columns(rows, (2, 0), 10)[1] == "kkkkk...kkkk  missing  ccccc...cccc"
