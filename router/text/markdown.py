"""Manual pages on a terminal: Markdown laid out in plain lines of a given width.

What the pages use is understood: headings, paragraphs, lists, fenced blocks, tables, links, bold, code in backticks.
Backticks stay, since they show what is to be typed. Colour is added by who prints.
"""

from __future__ import annotations

import re
import textwrap
from collections.abc import Iterator, Sequence
from typing import Final, Literal, NamedTuple

NARROWEST: Final = 40
"""Columns: a narrower terminal gets lines of this width."""

WIDEST: Final = 100
"""Columns: longer lines are hard to read on any terminal."""

_NARROWEST_CELL: Final = 30  # columns; where the last cell of a table would get fewer, rows become paragraphs
_NEEDS_NO_HEAD: Final = "what it does"
_GAP: Final = "  "

_LINK: Final = re.compile(r"(!?)\[([^\]]*)\]\(([^)\s]*)\)")
_ITEM: Final = re.compile(r"(\s*)([-*]|\d+\.)\s+(.*)")
_CELLS: Final = re.compile(r"(?<!\\)\|")
_CODE: Final = re.compile(r"`[^`]*`")
_SPACE_IN_CODE: Final = "\0"  # at which no line is broken


class Line(NamedTuple):
    """A line to print, without its end, and what it is."""

    text: str
    kind: Literal["title", "heading", "text", "code"] = "text"


def laid_out(page: str, width: int) -> Iterator[Line]:
    """Yield the lines of a page for a terminal of `width` columns, at least 40 and at most 100.

    Code and the names of settings are never broken, so that single lines may be longer.
    """
    width = max(NARROWEST, min(width, WIDEST))
    after_gap = True
    for block in _blocks(page.splitlines()):
        lines = list(_block_lines(block, width))
        if lines and not after_gap:
            yield Line("")
        after_gap = not lines and after_gap
        yield from lines


def _blocks(lines: Sequence[str]) -> Iterator[list[str]]:
    """Yield headings, paragraphs, whole lists, tables and fenced blocks, each as its lines."""
    block: list[str] = []
    in_fence = False
    for line in [*lines, ""]:
        is_fence = line.lstrip().startswith("```")
        if in_fence:
            block.append(line)
            if is_fence:
                in_fence = False
                yield block
                block = []
            continue
        ends = not line.strip() or line.startswith(("#", "<!--")) or is_fence
        if block and (ends or line.startswith("|") != block[0].startswith("|")):
            yield block
            block = []
        if line.strip():
            block.append(line)
        in_fence = is_fence
        if block and line.startswith(("#", "<!--")):
            yield block
            block = []


def _block_lines(block: Sequence[str], width: int) -> Iterator[Line]:
    first = block[0]
    if first.startswith("<!--"):
        return
    if first.lstrip().startswith("```"):
        yield from (Line(f"{_GAP}{line}".rstrip(), "code") for line in block[1:-1])
    elif first.startswith("#"):
        marks, _, title = first.partition(" ")
        yield from (Line(line, "title" if marks == "#" else "heading") for line in _wrapped(title, width))
    elif first.startswith("|"):
        yield from map(Line, _table([_cells(line) for line in block if not line.startswith("|-")], width))
    else:
        yield from map(Line, _paragraphs(block, width))


def _paragraphs(block: Sequence[str], width: int) -> Iterator[str]:
    """Yield a paragraph, or the items of a list, each wrapped behind its mark."""
    mark, words = "", list[str]()
    for line in block:
        item = _ITEM.fullmatch(line)
        if item is not None:
            yield from _wrapped(" ".join(words), width, mark)
            mark, words = f"{item[1]}{item[2]} ", [item[3]]
        else:
            words.append(line.strip())
    yield from _wrapped(" ".join(words), width, mark)


def _wrapped(text: str, width: int, mark: str = "", indent: str = "") -> list[str]:
    """Return the lines of a text; code in backticks is kept on one line."""
    text = _CODE.sub(_as_one_word, _plain(text))
    lines = textwrap.wrap(
        text,
        width,
        initial_indent=mark or indent,
        subsequent_indent=" " * len(mark) or indent,
        break_long_words=False,
        break_on_hyphens=False,
    )
    return [line.replace(_SPACE_IN_CODE, " ") for line in lines]


def _as_one_word(code: re.Match[str]) -> str:
    return code[0].replace(" ", _SPACE_IN_CODE)


def _plain(text: str) -> str:
    """Return words without marks: links to pages and files by their words, those to the web with their address."""
    return _LINK.sub(_link_words, text).replace("**", "").replace("\\|", "|").strip()


def _link_words(link: re.Match[str]) -> str:
    is_picture, words, target = link.groups()
    if is_picture:
        return ""
    return f"{words} ({target})" if "://" in target else words


def _cells(line: str) -> list[str]:
    return [_plain(cell) for cell in _CELLS.split(line.strip().removeprefix("|").removesuffix("|"))]


def _table(rows: Sequence[Sequence[str]], width: int) -> Iterator[str]:
    """Yield a table in columns, the last of them wrapped; where there is no room, a paragraph for each row."""
    widths = [max(len(row[at]) for row in rows if at < len(row)) for at in range(len(rows[0]) - 1)]
    left = width - sum(widths) - len(_GAP) * len(widths)
    lasts = [row[-1] for row in rows]
    unbroken = max(len(word) for last in lasts for word in _CODE.sub(_as_one_word, last).split() or [""])
    if left < max(unbroken, min(_NARROWEST_CELL, max(map(len, lasts)))):
        yield from _records(rows, width)
        return
    for row in rows:
        *cells, last = row
        start = "".join(cell.ljust(wide) + _GAP for cell, wide in zip(cells, widths, strict=True))
        lines = _wrapped(last, left) or [""]
        yield (start + lines[0]).rstrip()
        yield from (f"{' ' * len(start)}{line}" for line in lines[1:])


def _records(rows: Sequence[Sequence[str]], width: int) -> Iterator[str]:
    """Yield each row as its first cell and, below it, the others, with the heads of their columns where needed."""
    head, *rest = rows
    for number, (first, *others) in enumerate(rest):
        if number:
            yield ""
        yield from _wrapped(first or head[0], width)
        for at, cell in enumerate(others, start=1):
            named = cell if head[at] == _NEEDS_NO_HEAD or len(head) == 2 else f"{head[at]}: {cell}"
            yield from _wrapped(named if cell else "", width, indent=_GAP)
