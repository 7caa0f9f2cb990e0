"""Text for paper, which has no tooltips: smaller and in several lines, before anything of a name is cut."""

from __future__ import annotations

import re
from collections.abc import Iterator
from math import floor
from typing import Final, NamedTuple

from rules.drawing.svg import INK, Anchor, Text
from rules.drawing.text_width import ASCENT, DESCENT, shortened_inside, text_width

_STEP: Final = 0.92
_LINE: Final = ASCENT + DESCENT
_PIECE: Final = re.compile(r"[^\s_\-/.]*[\s_\-/.]*")


class FittedLines(NamedTuple):
    """A text broken into lines of one size; `whole` is the text if the middle of a line was cut, else empty."""

    lines: tuple[str, ...]
    size: float
    bold: bool
    whole: str = ""

    @property
    def height(self) -> float:
        """How high the lines are together."""
        return len(self.lines) * _LINE * self.size

    def texts(self, x: float, middle: float, anchor: Anchor = "start", fill: str = INK) -> Iterator[Text]:
        """Yield the lines one below the other, with their middle at the height `middle`."""
        base = middle - self.height / 2 + ASCENT * self.size
        for number, line in enumerate(self.lines):
            yield Text(x, base + number * _LINE * self.size, line, self.size, self.bold, anchor, fill, self.whole)


def fitted_lines(
    text: str, room: float, height: float, size: float, least: float, *, bold: bool = False
) -> FittedLines:
    """Return a text within `room` by `height`: as large as possible, at most `size`.

    A line breaks behind a space or a mark in a name. Where even letters of the size `least` are too large, lines lose
    their middle.
    """
    # in hundredths, so that no rounding makes a line higher than its room
    size = min(size, max(least, floor(100 * height / _LINE) / 100))
    while True:
        most = max(1, int(height / (_LINE * size)))
        lines = _broken(text, size, room, bold)
        if len(lines) <= most and all(text_width(line.rstrip(), size, bold) <= room for line in lines):
            return FittedLines(tuple(line.rstrip() for line in lines), size, bold)
        if size <= least:
            break
        size = max(least, _STEP * size)
    if len(lines) > most:
        lines = [*lines[: most - 1], "".join(lines[most - 1 :])] if most > 1 else [text]
    cut = tuple(shortened_inside(line.rstrip(), size, room, bold) for line in lines)
    return FittedLines(cut, size, bold, text)


def _broken(text: str, size: float, room: float, bold: bool) -> list[str]:
    """Return a text in lines of at most `room`, blanks at their ends aside; a piece that is wider is a line."""
    lines = [""]
    for piece in _PIECE.findall(text):
        if lines[-1] and text_width((lines[-1] + piece).rstrip(), size, bold) > room:
            lines.append("")
        lines[-1] += piece
    return lines
