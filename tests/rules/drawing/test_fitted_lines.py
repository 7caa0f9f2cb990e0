"""Text for paper: smaller and in several lines, before anything is cut."""

from __future__ import annotations

from hypothesis import given
from hypothesis import strategies as st

from rules.drawing.fitted_lines import fitted_lines
from rules.drawing.text_width import shortened_inside, text_width


def test_a_name_with_room_is_one_line_of_full_size() -> None:
    """Nothing happens to it."""
    found = fitted_lines("organ", 500, 100, 40, 18)
    assert (found.lines, found.size, found.whole) == (("organ",), 40, "")


def test_a_line_breaks_behind_spaces_and_marks() -> None:
    """As in names of ports."""
    room = text_width("keyboard_", 40)
    assert fitted_lines("stage_keyboard_left", room, 150, 40, 18).lines == ("stage_", "keyboard_", "left")
    assert fitted_lines("stage piano", text_width("stage", 40), 100, 40, 18).lines == ("stage", "piano")


def test_letters_shrink_before_a_word_is_cut() -> None:
    """Down to the least size; then the middle is cut, and the whole is kept for a tooltip."""
    small = fitted_lines("keyboard", text_width("keyboard", 25), 50, 40, 18)
    assert (small.lines, small.whole) == (("keyboard",), "")
    assert 18 <= small.size <= 25
    cut = fitted_lines("keyboard", text_width("keyb", 18), 50, 40, 18)
    assert (cut.size, cut.whole) == (18, "keyboard")
    assert cut.lines[0][0] == "k"
    assert "\u2026" in cut.lines[0]


def test_what_has_no_line_left_joins_the_last_one() -> None:
    """With its blanks, and the end of the whole."""
    height = 2 * 1.17 * 18 + 1
    found = fitted_lines("one two three four", text_width("three_", 18), height, 40, 18)
    assert found.lines[0] == "one"
    assert (found.lines[1][:2], found.lines[1][-1], len(found.lines)) == ("tw", "r", 2)


@given(st.text("abc _-", max_size=60), st.floats(30, 400), st.floats(25, 200), st.booleans())
def test_everything_is_within_its_room(text: str, room: float, height: float, bold: bool) -> None:
    """No line is wider, and all together aren't higher; what isn't cut has every letter."""
    found = fitted_lines(text, room, height, 40, 18, bold=bold)
    assert all(text_width(line, found.size, bold) <= room for line in found.lines)
    assert found.height <= height
    if not found.whole:
        assert "".join("".join(found.lines).split()) == "".join(text.split())


@given(st.text("abcdef ", max_size=40), st.floats(0, 300))
def test_a_shortened_text_has_both_ends(text: str, room: float) -> None:
    """And it takes no more than its room."""
    short = shortened_inside(text, 10, room)
    assert text_width(short, 10) <= room
    if short not in ("", text):
        begin, end = short.split("\u2026")
        assert text.startswith(begin)
        assert text.endswith(end)
