"""Text in boxes."""

from __future__ import annotations

from hypothesis import given
from hypothesis import strategies as st

from rules.rig.text_width import text_width
from rules.rig.writing import wrapped

WORDS = st.lists(st.text("abc ", min_size=1, max_size=12), max_size=12).map(" ".join)


def test_a_text_is_broken_between_words() -> None:
    """As many words in each line as have room; the last of too many lines is shortened."""
    text = "one two three four"
    room = text_width("one two", 10)
    assert wrapped(text, 10, room, 5) == ["one two", "three", "four"]
    assert wrapped(text, 10, room, 2) == ["one two", "three\u2026"]
    assert wrapped("", 10, room, 2) == []


@given(WORDS, st.floats(5, 300), st.integers(1, 4))
def test_no_line_is_wider_than_its_room(text: str, room: float, most: int) -> None:
    """Nor are there more lines than allowed; what is whole has all words."""
    lines = wrapped(text, 10, room, most)
    assert len(lines) <= most
    assert all(text_width(line, 10) <= room for line in lines)
    if lines and not any(line.endswith("\u2026") or not line for line in lines):
        assert " ".join(lines).split() == text.split()
