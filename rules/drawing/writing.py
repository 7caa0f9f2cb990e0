"""Text in boxes: a name, and small lines below it, each shortened or broken to the width of its box."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from typing import Final

from rules.drawing.style import Style
from rules.drawing.svg import GREY, INK, PALE, PAPER, Box, Frame, Shape, Text, fitted
from rules.drawing.text_width import shortened, text_width
from rules.drawing.view import Mark

_BADGE_SHARE: Final = 0.5


def wrapped(text: str, size: float, room: float, most: int) -> list[str]:
    """Return a text in at most `most` lines of at most `room`; the last of too many is shortened."""
    words = text.split()
    blank = text_width(" ", size)
    lines: list[list[str]] = []
    left = 0.0
    for word in words:
        width = text_width(word, size)
        if not lines or (width + blank > left and len(lines) < most):
            lines.append([word])
            left = room - width
        else:
            lines[-1].append(word)
            left -= width + blank
    return [shortened(" ".join(line), size, room) for line in lines]


class BoxWriter:
    """Writes into a box from above to below; `y` is where the next thing begins."""

    def __init__(self, x: float, y: float, width: float, style: Style) -> None:
        self.x = x
        self.y = y
        self.width = width
        self.style = style
        self.shapes: list[Shape] = []

    def head(
        self, name: str, marks: Sequence[Mark] = (), *, number: int | None = None, most: float = 1.0
    ) -> tuple[float, float]:
        """Write a name in bold behind its number, with findings at the right; return where there is room between them.

        The name takes at most a share `most` of the width.
        """
        style = self.style
        baseline = self.y + style.head
        begin = self.x
        if number is not None:
            self.shapes += _plate(str(number), begin, baseline, style, fill=PALE)
            begin += _plate_width(str(number), style) + 0.4 * style.size
        right = self._badges(marks, baseline)
        room = min(right - begin, most * self.width)
        name_text = fitted(begin, baseline, name, style.size, room, bold=True)
        self.shapes.append(name_text)
        self.y = baseline + 0.3 * style.size
        return name_text.frame.right, right

    def head_of_end(self, name: str, marks: Sequence[Mark]) -> None:
        """Write a name in bold, with findings at the right; on a line below where the name would be cut for them."""
        style = self.style
        labels = _labels(marks, self._amount(marks, _BADGE_SHARE))
        if text_width(name, style.size, True) <= self.width - self._width_of(labels):
            self.head(name, marks)
            return
        self.head(name)
        if marks:
            self.y += 1.25 * style.size
            self._badges(marks, self.y - 0.3 * style.size, share=1)

    def _amount(self, marks: Sequence[Mark], share: float) -> int:
        """Return how many findings have room in a share of the width, with how many more there are; one at least."""
        amount = len(marks)
        while amount > 1 and self._width_of(_labels(marks, amount)) > share * self.width:
            amount -= 1
        return amount

    def _width_of(self, labels: Iterable[str]) -> float:
        return sum(badge_width(label, self.style) for label in labels)

    def _badges(self, marks: Sequence[Mark], baseline: float, share: float = _BADGE_SHARE) -> float:
        """Write the first findings at the right edge, as many as a share of the width holds, and how many more.

        Return where they begin.
        """
        style = self.style
        amount = self._amount(marks, share)
        right = self.x + self.width
        hidden = "\n".join(f"{mark.label}: {mark.text}" for mark in marks[amount:])
        for at, label in reversed([*enumerate(_labels(marks, amount))]):
            right -= badge_width(label, style)
            if at < amount:
                self.shapes += badge(marks[at], right + 0.3 * style.size, baseline, style)
            else:
                self.shapes += _plate(label, right + 0.3 * style.size, baseline, style, fill=PAPER, tip=hidden)
        return right

    def lines(self, texts: Iterable[str], most: int = 1, indent: float = 0, fill: str = GREY) -> None:
        """Write small lines, each text in at most `most` of them."""
        style = self.style
        for text in texts:
            room = self.width - indent
            broken = wrapped(text, style.small, room, most)
            for line in broken:
                whole = text if line.endswith("\u2026") and line != text else ""
                self.y += style.line
                self.shapes.append(
                    Text(self.x + indent, self.y - 0.3 * style.small, line, style.small, fill=fill, whole=whole)
                )


def _labels(marks: Sequence[Mark], amount: int) -> list[str]:
    """The first labels, and how many more there are."""
    labels = [mark.label for mark in marks[:amount]]
    return [*labels, f"+{len(marks) - amount}"] if amount < len(marks) else labels


def badge_width(label: str, style: Style) -> float:
    """Return how wide a finding is, with the gap before it."""
    return _plate_width(label, style) + 0.3 * style.size


def badge(mark: Mark, x: float, baseline: float, style: Style) -> list[Shape]:
    """Return a finding at the part that it is about: its severity and number, a mistake white on black."""
    fill = INK if mark.severity == "mistake" else PAPER
    return _plate(mark.label, x, baseline, style, fill=fill, tip=mark.text)


def _plate_width(text: str, style: Style) -> float:
    return text_width(text, style.small, True) + 0.5 * style.size


def _plate(text: str, x: float, baseline: float, style: Style, *, fill: str, tip: str = "") -> list[Shape]:
    """Return a short text on a small plate."""
    frame = Frame(x, baseline - 0.88 * style.size, _plate_width(text, style), 1.14 * style.size)
    ink = PAPER if fill == INK else INK
    return [
        Box(frame, fill=fill, stroke="none" if fill == PALE else INK, stroke_width=4, radius=style.pad / 2, tip=tip),
        Text(x + 0.25 * style.size, baseline, text, style.small, bold=True, fill=ink),
    ]
