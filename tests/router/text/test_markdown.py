"""Manual pages on a terminal: every word is there, lines fit, and what is to be typed stays as it is."""

from __future__ import annotations

import re
from pathlib import Path

import pytest

import router
from router.text.markdown import NARROWEST, WIDEST, laid_out

PAGES = sorted((Path(router.__file__).parent / "manual").glob("*.md"))


def text(page: str, width: int = 60) -> list[str]:
    """Return the lines of a page."""
    return [line.text for line in laid_out(page, width)]


def test_paragraphs_are_wrapped_anew() -> None:
    """Where the page ends its lines doesn't matter; between paragraphs is one empty line."""
    assert text("one two\nthree\n\n\nfour", 40) == ["one two three", "", "four"]
    assert text("word " * 20, 40) == [" ".join(["word"] * 8)] * 2 + ["word word word word"]


def test_titles() -> None:
    """Titles and headings lose their marks, and are known by their kind."""
    page = "# run: play live\n\nText.\n\n## Settings\nMore.\n"
    assert [(line.text, line.kind) for line in laid_out(page, 60) if line.text] == [
        ("run: play live", "title"),
        ("Text.", "text"),
        ("Settings", "heading"),
        ("More.", "text"),
    ]


def test_lists() -> None:
    """Items are wrapped behind their marks, whatever lines they have in the page."""
    page = "- one two three four five six\n  seven eight nine ten\n- eleven\n\n1. first\n10. tenth\n"
    assert text(page, 40) == [
        "- one two three four five six seven",
        "  eight nine ten",
        "- eleven",
        "",
        "1. first",
        "10. tenth",
    ]


def test_code_is_left_alone() -> None:
    """Blocks are indented and never wrapped, with their empty lines; code within a line is kept together."""
    long = "x" * 120
    page = f"```toml\na = 1\n\n# {long}\n```\n"
    assert [(line.text, line.kind) for line in laid_out(page, 40)] == [
        ("  a = 1", "code"),
        ("", "code"),
        (f"  # {long}", "code"),
    ]
    assert text("one two three four five `six seven = eight`", 40) == ["one two three four five", "`six seven = eight`"]


def test_links_and_bold() -> None:
    """Links to files are their words, those to the web have their address, pictures are left out."""
    links = "See [the unit](../a.service), **now**, [TOML](https://toml.io)."
    page = f"{links}\n\n![A plot](plot.svg)\n\n<!-- also: x -->\nEnd.\n"
    assert text(page) == ["See the unit, now, TOML (https://toml.io).", "", "End."]


TABLE = """\
| name | what it does | default |
|---|---|---|
| `a` | does one thing and another | `1` |
| `b \\| c` | rests | |
"""


def test_tables_in_columns() -> None:
    """Where there is room, cells are below each other, and the last one is wrapped."""
    assert text(TABLE, 60) == [
        "name     what it does                default",
        "`a`      does one thing and another  `1`",
        "`b | c`  rests",
    ]


def test_tables_without_room() -> None:
    """Else each row is a paragraph: its first cell, then the others with the heads of their columns."""
    assert text(TABLE, 40) == [
        "`a`",
        "  does one thing and another",
        "  default: `1`",
        "",
        "`b | c`",
        "  rests",
    ]


@pytest.mark.parametrize("path", PAGES, ids=[path.stem for path in PAGES])
@pytest.mark.parametrize("width", [40, 80, 100])
def test_pages_fit(path: Path, width: int) -> None:
    """At every width a page keeps all its words, no mark of Markdown is left, and only code is too long."""
    page = path.read_text(encoding="utf-8")
    lines = list(laid_out(page, width))
    for line in lines:
        words = re.sub(r"`[^`]*`", lambda code: code[0].replace(" ", "_"), line.text).split()
        assert line.kind == "code" or len(line.text) <= width or max(map(len, words)) > width - 20, line
        assert line.kind == "code" or not re.search(r"\]\(|\*\*|^\||^#", line.text), line
    shown = set(re.findall(r"\w+", " ".join(line.text for line in lines)))
    told = re.sub(r"<!--.*?-->|!\[[^\]]*\]\([^)]*\)|\]\((?!http)[^)]*\)|^```\w+", " ", page, flags=re.MULTILINE)
    heads = " ".join(re.findall(r"^(\|.*)\n\|--", page, re.MULTILINE))  # left out where rows are paragraphs
    assert set(re.findall(r"\w+", told)) - shown <= set(re.findall(r"\w+", heads))


def test_widths_have_limits() -> None:
    """A terminal that is very narrow or wide gets lines that can be read."""
    page = "word " * 100
    assert max(map(len, text(page, 3))) <= NARROWEST
    assert NARROWEST < max(map(len, text(page, 500))) <= WIDEST
