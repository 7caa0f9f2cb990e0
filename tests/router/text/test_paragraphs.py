"""Prose in lines of a terminal."""

from __future__ import annotations

from router.text.paragraphs import WIDTH, wrapped


def test_a_text_is_broken_into_lines_that_fit() -> None:
    """The first one is indented as asked, and those after it in their own way."""
    first, *others = wrapped("twelve keys and more " * 20, "  ", "    ")
    assert first.startswith("  twelve")
    assert others
    assert all(line.startswith("    ") and line[4] != " " for line in others)
    assert max(map(len, [first, *others])) <= WIDTH


def test_what_belongs_together_stays_together() -> None:
    """Long names, names with hyphens, and a number with its per cent."""
    name = "a" * 100
    assert name in wrapped(f"in {name} nothing changes")
    assert "pit-keyboard" in wrapped("x" * 74 + " pit-keyboard")
    assert wrapped("x" * 75 + " 100 %") == ["x" * 75, "100 %"]


def test_no_control_character_reaches_the_terminal() -> None:
    """Names in files can hold anything."""
    assert wrapped("in \x1b[2J.mid") == [r"in \x1b[2J.mid"]
