"""How wide a text gets, without the font at hand: a viewer draws with the font that its system has.

Widths are those of a wide sans-serif font (see `font_widths`), so that text in the usual, narrower ones takes less room
than planned, never more. Letters of other scripts count as wide as those get.
"""

from __future__ import annotations

from functools import lru_cache
from typing import Final
from unicodedata import category, east_asian_width

from rules.drawing.font_widths import BOLD, REGULAR

ASCENT: Final = 0.93
"""How far a line of text reaches above its baseline, as a share of its size."""

DESCENT: Final = 0.24
"""How far it reaches below."""

_UNKNOWN: Final = 120  # hundredths, more than nearly every letter
_ELLIPSIS: Final = "\u2026"


def text_width(text: str, size: float, bold: bool = False) -> float:
    """Return the width of a line of text in the unit of its size."""
    return _hundredths(text, bold) * size / 100


@lru_cache(maxsize=65_536)
def _hundredths(text: str, bold: bool) -> int:
    widths = BOLD if bold else REGULAR
    return sum(widths.get(letter) or _unknown(letter) for letter in text)


def shortened(text: str, size: float, room: float, bold: bool = False) -> str:
    """Return a text that takes at most `room`: the whole, or its beginning and an ellipsis, or nothing."""
    if text_width(text, size, bold) <= room:
        return text
    low, high = 0, len(text)
    while low < high:
        middle = (low + high + 1) // 2
        if text_width(text[:middle].rstrip() + _ELLIPSIS, size, bold) <= room:
            low = middle
        else:
            high = middle - 1
    return text[:low].rstrip() + _ELLIPSIS if low else ""


def shortened_inside(text: str, size: float, room: float, bold: bool = False) -> str:
    """Return a text that takes at most `room`: the whole, or its beginning, an ellipsis and its end, or nothing."""
    if text_width(text, size, bold) <= room:
        return text
    for kept in range(len(text) - 1, 0, -1):
        end = text[len(text) - kept // 2 :].lstrip()
        short = text[: kept - kept // 2].rstrip() + _ELLIPSIS + end
        if text_width(short, size, bold) <= room:
            return short
    return ""


def _unknown(letter: str) -> int:
    if category(letter) in ("Mn", "Me", "Cf"):
        return 0
    return 105 if east_asian_width(letter) in ("W", "F") else _UNKNOWN
