"""What others see in our pictures: the W3C's own definition of SVG, and where texts are in a font that is at hand."""

from __future__ import annotations

import functools
import itertools
from pathlib import Path
from typing import NamedTuple
from xml.etree import ElementTree

from fontTools.ttLib import TTFont  # type: ignore[import-untyped]
from lxml import etree  # type: ignore[import-untyped]

SVG = "{http://www.w3.org/2000/svg}"
DEFINITION = Path(__file__).parents[2] / ".cache/svg-dtd/svg11.dtd"
"""The DTD of SVG 1.1 (Second Edition), W3C Recommendation of 16 August 2011, from Debian's package w3c-sgml-lib."""

_MOST_BLUR = 0.1  # of two rounded coordinates, in tenths of a millimetre

FONTS = Path("/usr/share/fonts/truetype/dejavu")


class TextBox(NamedTuple):
    """A text of a picture and the box that its line takes."""

    text: str
    left: float
    top: float
    right: float
    bottom: float

    def overlaps(self, other: TextBox, least: float = _MOST_BLUR) -> bool:
        """Return whether two texts share more than an edge that is `least` wide."""
        across = min(self.right, other.right) - max(self.left, other.left)
        down = min(self.bottom, other.bottom) - max(self.top, other.top)
        return across > least and down > least


def faults(svg: str) -> list[str]:
    """What the definition of SVG 1.1 has against a picture."""
    definition = _definition()
    definition.validate(etree.fromstring(svg.encode()))
    return [str(entry) for entry in definition.error_log]


@functools.cache
def _definition() -> etree.DTD:
    assert DEFINITION.exists(), "scripts/test fetches the definition of SVG; run scripts/fetching/fetch-svg-dtd"
    return etree.DTD(str(DEFINITION))


def texts(svg: str) -> list[TextBox]:
    """Every text with its box, measured in a font that is wider than most."""
    return [_box(element) for element in ElementTree.fromstring(svg).iter(f"{SVG}text")]


def overlapping(svg: str) -> list[tuple[str, str]]:
    """Every two texts that overlap."""
    boxes = texts(svg)
    return [(one.text, other.text) for one, other in itertools.combinations(boxes, 2) if one.overlaps(other)]


def outside(svg: str) -> list[str]:
    """Every text that isn't wholly on the page."""
    _, _, width, height = map(float, ElementTree.fromstring(svg).attrib["viewBox"].split())
    return [
        box.text
        for box in texts(svg)
        if box.left < 0 or box.top < 0 or box.right > width or box.bottom > height
    ]  # fmt: skip


def _box(element: ElementTree.Element) -> TextBox:
    title = element.find(f"{SVG}title")
    text = (element.text if title is None else title.tail) or ""
    size = float(element.attrib["font-size"])
    font = _font(element.get("font-weight") == "bold")
    width = sum(font.advances.get(ord(letter), font.unit) for letter in text) * size / font.unit
    x, y = float(element.attrib["x"]), float(element.attrib["y"])
    left = x - {"start": 0.0, "middle": width / 2, "end": width}[element.get("text-anchor", "start")]
    return TextBox(text, left, y - font.ascent * size, left + width, y + font.descent * size)


class _Font(NamedTuple):
    """Widths of letters by code in `unit`s of an em; how far a line reaches above and below its baseline, in ems."""

    advances: dict[int, int]
    unit: int
    ascent: float
    descent: float


@functools.cache
def _font(bold: bool) -> _Font:
    font = TTFont(FONTS / ("DejaVuSans-Bold.ttf" if bold else "DejaVuSans.ttf"))
    unit = font["head"].unitsPerEm
    lines = font["hhea"]
    advances = {code: font["hmtx"][name][0] for code, name in font.getBestCmap().items()}
    return _Font(advances, unit, lines.ascent / unit, -lines.descent / unit)
