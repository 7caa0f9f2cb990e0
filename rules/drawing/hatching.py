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
    "M0 14L14 0M-3 3L3 -3M11 17L17 11",
    "M0 0L14 14M-3 11L3 17M11 -3L17 3",
    "M0 7H14",
    "M7 0V14",
    "M0 7H14M7 0V14",
    "M5 7H9",
    "M0 14L14 0M0 0L14 14",
)


def hatch(number: int) -> str:
    """Return the fill of area `number`, counted from 0."""
    return f"url(#hatch{number % len(_CELLS)})"


def hatches(amount: int) -> list[str]:
    """Return the patterns that the first `amount` areas need."""
    return [
        f'<pattern id="hatch{number}" width="14" height="14" patternUnits="userSpaceOnUse">'
        f'<rect width="14" height="14" fill="{tint}"/><path d="{cell}" stroke="#000000" stroke-width="1.6"/></pattern>'
        for number, (tint, cell) in enumerate(zip(TINTS, _CELLS, strict=True))
        if number < amount
    ]


def line_colour(number: int) -> str:
    """Return the colour of line `number`, counted from 0."""
    return LINES[number % len(LINES)]
