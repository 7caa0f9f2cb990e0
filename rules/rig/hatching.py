"""Areas that differ by how they are hatched, and by a light colour besides: colour alone never says anything.

The colours are light tints of eight that people with any colour vision tell apart (M. Okabe, K. Ito, Color Universal
Design, 2008; from memory).
"""

from __future__ import annotations

from typing import Final

TINTS: Final = ("#ffe3b0", "#cfe9f9", "#bfe8da", "#fbf7c0", "#bcd9ee", "#f6cfb3", "#f0d5e4")
LINES: Final = ("#000000", "#0072b2", "#a64b00", "#00664b", "#8a4a72", "#6b5b00")
"""Colours of lines, dark enough to be seen in black and white."""

_CELLS: Final = (
    "M0 10L10 0M-2 2L2 -2M8 12L12 8",
    "M0 0L10 10M-2 8L2 12M8 -2L12 2",
    "M0 5H10",
    "M5 0V10",
    "M0 5H10M5 0V10",
    "M4 5H6",
    "M0 10L10 0M0 0L10 10",
)


def hatch(number: int) -> str:
    """Return the fill of area `number`, counted from 0."""
    return f"url(#hatch{number % len(_CELLS)})"


def hatches(amount: int) -> list[str]:
    """Return the patterns that the first `amount` areas need."""
    return [
        f'<pattern id="hatch{number}" width="10" height="10" patternUnits="userSpaceOnUse">'
        f'<rect width="10" height="10" fill="{tint}"/><path d="{cell}" stroke="#000000" stroke-width="1"/></pattern>'
        for number, (tint, cell) in enumerate(zip(TINTS, _CELLS, strict=True))
        if number < amount
    ]


def line_colour(number: int) -> str:
    """Return the colour of line `number`, counted from 0."""
    return LINES[number % len(LINES)]
