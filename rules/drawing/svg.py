"""A picture of rectangles, lines and texts, written as SVG 1.1.

Lengths are tenths of a millimetre, from the upper left corner. Every text knows the box that it takes, so that a layout
can keep texts apart. Names come from rule files: whatever they hold is written as text, never as markup.

Source of elements and attributes: Scalable Vector Graphics (SVG) 1.1 (Second Edition), W3C Recommendation of
16 August 2011.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field
from html import escape
from typing import Final, Literal, NamedTuple, Protocol

from rules.drawing.text_width import ASCENT, DESCENT, shortened, text_width

INK: Final = "#000000"
PAPER: Final = "#ffffff"
GREY: Final = "#555555"
PALE: Final = "#c8c8c8"

A4_SHORT: Final = 2100.0
A4_LONG: Final = 2970.0
"""The sides of a page (ISO 216)."""

Anchor = Literal["start", "middle", "end"]


class Frame(NamedTuple):
    """A rectangle: its upper left corner, width and height."""

    x: float
    y: float
    width: float
    height: float

    @property
    def right(self) -> float:
        """The x of its right edge."""
        return self.x + self.width

    @property
    def bottom(self) -> float:
        """The y of its lower edge."""
        return self.y + self.height


class Shape(Protocol):
    """Anything that a picture holds."""

    def svg(self) -> str:
        """Return its element."""
        ...


@dataclass(frozen=True, slots=True)
class Text:
    """One line of text on the baseline `y`; `whole` is what it is short for, shown by viewers as a tooltip."""

    x: float
    y: float
    text: str
    size: float
    bold: bool = False
    anchor: Anchor = "start"
    fill: str = INK
    whole: str = ""

    @property
    def frame(self) -> Frame:
        """The box that the text takes in the widest of the usual fonts."""
        width = text_width(self.text, self.size, self.bold)
        left = self.x - {"start": 0.0, "middle": width / 2, "end": width}[self.anchor]
        return Frame(left, self.y - ASCENT * self.size, width, (ASCENT + DESCENT) * self.size)

    def svg(self) -> str:
        """Return its element."""
        attributes = f'x="{number(self.x)}" y="{number(self.y)}" font-size="{number(self.size)}"'
        if self.bold:
            attributes += ' font-weight="bold"'
        if self.anchor != "start":
            attributes += f' text-anchor="{self.anchor}"'
        if self.fill != INK:
            attributes += f' fill="{self.fill}"'
        tip = f"<title>{_written(self.whole)}</title>" if self.whole else ""
        return f"<text {attributes}>{tip}{_written(self.text)}</text>"


def fitted(
    x: float, y: float, text: str, size: float, room: float, *, bold: bool = False, anchor: Anchor = "start",
    fill: str = INK, whole: str = "",
) -> Text:  # fmt: skip
    """Return a text that takes at most `room`; where it is shortened, the whole of it is the tooltip."""
    short = shortened(text, size, room, bold)
    return Text(x, y, short, size, bold, anchor, fill, whole or (text if short != text else ""))


@dataclass(frozen=True, slots=True)
class Box:
    """A rectangle; `dash` is a pattern of lengths as SVG writes it, `tip` a tooltip."""

    frame: Frame
    fill: str = "none"
    stroke: str = INK
    stroke_width: float = 2
    radius: float = 0
    dash: str = ""
    tip: str = ""

    def svg(self) -> str:
        """Return its element."""
        x, y, width, height = map(number, self.frame)
        radius = f' rx="{number(self.radius)}"' if self.radius else ""
        head = f'<rect x="{x}" y="{y}" width="{width}" height="{height}"{radius} fill="{self.fill}"'
        head += _stroked(self.stroke, self.stroke_width, self.dash)
        return f"{head}><title>{_written(self.tip)}</title></rect>" if self.tip else f"{head}/>"


@dataclass(frozen=True, slots=True)
class Path:
    """A line or an area by its path data; `arrow` ends it with an arrowhead."""

    data: str
    stroke: str = INK
    stroke_width: float = 2
    fill: str = "none"
    dash: str = ""
    arrow: bool = False
    tip: str = ""

    def svg(self) -> str:
        """Return its element."""
        head = f'<path d="{self.data}" fill="{self.fill}"{_stroked(self.stroke, self.stroke_width, self.dash)}'
        head += ' marker-end="url(#arrow)"' if self.arrow else ""
        return f"{head}><title>{_written(self.tip)}</title></path>" if self.tip else f"{head}/>"


@dataclass(frozen=True, slots=True)
class Traced:
    """A line drawn several times, each time in another colour and width: the first is the outline of the others.

    `name` tells it from all others of a picture: letters and digits, beginning with a letter.
    """

    data: str
    name: str
    strokes: Sequence[tuple[str, float]]

    def svg(self) -> str:
        """Return its elements; the path is written once."""
        uses = "".join(
            f'<use xlink:href="#{self.name}"{_stroked(stroke, width, "")}/>' for stroke, width in self.strokes
        )
        return f'<defs><path id="{self.name}" d="{self.data}" fill="none"/></defs>{uses}'


@dataclass(slots=True)
class Picture:
    """Shapes on a page. `title` names it and `summary` says in a sentence what it shows; `defs` holds patterns."""

    width: float
    height: float
    title: str
    summary: str
    shapes: list[Shape] = field(default_factory=list)
    defs: Sequence[str] = ()

    @property
    def fits_a4(self) -> bool:
        """Whether a page of A4 holds it, in its true size, lying or standing."""
        short, long = sorted((self.width, self.height))
        return short <= A4_SHORT and long <= A4_LONG

    def add(self, shapes: Iterable[Shape]) -> None:
        """Add shapes on top of those that are there."""
        self.shapes.extend(shapes)

    def svg(self) -> str:
        """Return the whole file, as text that is to be encoded as UTF-8."""
        width, height = number(self.width), number(self.height)
        lines = [
            '<?xml version="1.0" encoding="UTF-8"?>',
            '<svg xmlns="http://www.w3.org/2000/svg" xmlns:xlink="http://www.w3.org/1999/xlink" version="1.1" '
            f'width="{number(self.width / 10)}mm" '
            f'height="{number(self.height / 10)}mm" viewBox="0 0 {width} {height}" font-family="sans-serif">',
            f"<title>{_written(self.title)}</title>",
            f"<desc>{_written(self.summary)}</desc>",
            f"<defs>{ARROW}{''.join(self.defs)}</defs>",
            f'<rect width="{width}" height="{height}" fill="{PAPER}"/>',
            *(shape.svg() for shape in self.shapes),
            "</svg>",
        ]
        return "\n".join(lines) + "\n"


ARROW: Final = (
    '<marker id="arrow" viewBox="0 0 10 10" refX="9" refY="5" markerWidth="24" markerHeight="20" '
    'markerUnits="userSpaceOnUse" orient="auto"><path d="M0 1L10 5L0 9z"/></marker>'
)
"""What lines to a port or device end with; always of one size, so that thin lines have one that can be seen."""


def number(value: float) -> str:
    """A length with at most one decimal: a hundredth of a millimetre."""
    text = f"{value:.1f}"
    return text[:-2] if text.endswith(".0") else text


def _written(text: str) -> str:
    """Text for an element; what can't be printed, much of which no XML may hold, is replaced."""
    printable = (letter if letter.isprintable() or letter == "\n" else "\ufffd" for letter in text)
    return escape("".join(printable), quote=False)


def _stroked(stroke: str, width: float, dash: str) -> str:
    if stroke == "none":
        return ""
    dashes = f' stroke-dasharray="{dash}"' if dash else ""
    return f' stroke="{stroke}" stroke-width="{number(width)}"{dashes}'
