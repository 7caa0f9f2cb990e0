"""How large and how detailed a picture of the rig is: what is tried until all fits on one page."""

from __future__ import annotations

import math
from collections.abc import Iterator
from enum import IntEnum
from typing import Final, NamedTuple

from rules.drawing.svg import A4_LONG, A4_SHORT

MARGIN: Final = 70.0


class Detail(IntEnum):
    """How much a rule box says; what it leaves out is in its tooltip."""

    FULL = 0
    """Each condition and step on lines of its own."""
    SHORT = 1
    """All of them in two lines."""
    KEYS = 2
    """A line for each rule and each zone, and the keyboard above a split."""
    LINE = 3
    """The same without the keys."""
    STRIP = 4
    """A line for each rule, its zones as one strip."""


class Style(NamedTuple):
    """The size of names in tenths of a millimetre, how detailed boxes are, and the size of the page."""

    size: float
    detail: Detail
    page_width: float
    page_height: float

    @property
    def small(self) -> float:
        """The size of all text but names."""
        return 0.84 * self.size

    @property
    def line(self) -> float:
        """From one baseline to the next, of small text."""
        return 1.22 * self.small

    @property
    def head(self) -> float:
        """From the top of a box to the baseline of its name."""
        return 1.05 * self.size

    @property
    def pad(self) -> float:
        """What is free inside a box."""
        return 0.35 * self.size

    @property
    def gap(self) -> float:
        """What is free between boxes."""
        return (0.7, 0.5, 0.35, 0.3, 0.25)[self.detail] * self.size


_SIZES: Final = (
    (Detail.FULL, (44, 40, 36, 33, 30, 28)),
    (Detail.SHORT, (32, 29, 27)),
    (Detail.KEYS, (30, 28, 26)),
    (Detail.LINE, (30, 28, 26)),
    (Detail.SHORT, (25, 24)),
    (Detail.KEYS, (25, 24, 22)),
    (Detail.LINE, (24, 22, 20, 18)),
    (Detail.STRIP, (24, 22, 20, 18, 16)),
)
"""Sizes tried for each degree of detail: from 12 points down to 5, what can be read from afar before what says more."""


ENDLESS: Final = Style(18, Detail.LINE, A4_SHORT, math.inf)
"""For a rig that no page holds: still to be read, on a page that is as long as needed."""


def styles() -> Iterator[Style]:
    """Yield every style, the best first; a page lies on its side before it stands."""
    for detail, sizes in _SIZES:
        for size in sizes:
            yield Style(size, detail, A4_LONG, A4_SHORT)
            yield Style(size, detail, A4_SHORT, A4_LONG)
