"""Text in boxes."""

from __future__ import annotations

from hypothesis import given
from hypothesis import strategies as st

from rules.drawing.style import Detail, Style
from rules.drawing.svg import Box, Text
from rules.drawing.text_width import text_width
from rules.drawing.view import Mark
from rules.drawing.writing import BoxWriter, badge, wrapped

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


def test_findings_take_at_most_half_of_a_box() -> None:
    """The first ones are shown, and how many more there are; the tooltip has those."""
    writer = BoxWriter(0, 0, 600, Style(30, Detail.FULL, 2970, 2100))
    marks = [Mark(number, "doubt", "rule 1", f"text {number}") for number in range(1, 6)]
    writer.head("a rule with a name", marks)
    shown = [shape.text for shape in writer.shapes if isinstance(shape, Text)]
    assert shown == ["+4", "doubt 1", "a rule with a name"]
    tips = [shape.tip for shape in writer.shapes if isinstance(shape, Box)]
    assert tips == ["doubt 2: text 2\ndoubt 3: text 3\ndoubt 4: text 4\ndoubt 5: text 5", "text 1"]


def test_a_mistake_is_white_on_black() -> None:
    """Doubts and remarks are black on white."""
    style = Style(30, Detail.FULL, 2970, 2100)
    fills = [badge(Mark(1, severity, "rule 1", "text"), 0, 0, style)[0] for severity in ("mistake", "doubt", "remark")]
    assert [box.fill for box in fills if isinstance(box, Box)] == ["#000000", "#ffffff", "#ffffff"]


def test_findings_at_an_end_of_the_rig_never_cut_its_name() -> None:
    """Next to the name where both have room, on a line below where not."""
    style = Style(30, Detail.FULL, 2970, 2100)
    marks = [Mark(1, "mistake", "port", "text")]
    for name, is_below in (("pad", False), ("cable", True)):
        writer = BoxWriter(0, 0, text_width("pad", 30, True) + text_width("mistake 1", style.small, True) + 30, style)
        writer.head_of_end(name, marks)
        shown = {shape.text: shape for shape in writer.shapes if isinstance(shape, Text)}
        assert set(shown) == {name, "mistake 1"}
        assert (shown["mistake 1"].y > shown[name].y) == is_below
        assert writer.y > shown["mistake 1"].y
