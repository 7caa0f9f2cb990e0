"""A keyboard above the zones of a split: where keys are, and its picture.

White keys are equally wide; a black key is 0.6 of one, in the middle between two (common practice, no source).
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from typing import Final

from rules.drawing.svg import GREY, INK, PAPER, Box, Frame, Path, Shape, Text, number
from rules.drawing.text_width import text_width
from rules.midi.notation import Naming, format_note

FULL_SIZE: Final = (21, 108)
"""The lowest and the highest key of a keyboard of 88 keys."""

_WHITE_PLACES: Final = {0: 0, 2: 1, 4: 2, 5: 3, 7: 4, 9: 5, 11: 6}
_BLACK_WIDTH: Final = 0.6


def _white_place(key: int) -> int:
    """The number of white keys below a white key."""
    return key // 12 * 7 + _WHITE_PLACES[key % 12]


def _is_white(key: int) -> bool:
    return key % 12 in _WHITE_PLACES


def _border(key: int) -> float:
    """Where a key begins, in white keys from key 0: neighbours meet, so that adjacent zones do."""
    if not _is_white(key):
        return _white_place(key - 1) + 1 - _BLACK_WIDTH / 2
    if key and not _is_white(key - 1):
        return _white_place(key - 2) + 1 + _BLACK_WIDTH / 2
    return float(_white_place(key))


@dataclass(frozen=True, slots=True)
class Keyboard:
    """Keys `low` to `high` drawn from `x` on, `width` wide."""

    x: float
    width: float
    low: int
    high: int

    @classmethod
    def showing(cls, x: float, width: float, keys: Iterable[int]) -> Keyboard:
        """Return a keyboard of 88 keys, or of all 128 where a key that matters is outside of those."""
        low, high = FULL_SIZE
        outside = any(not low <= key <= high for key in keys)
        return cls(x, width, *((0, 127) if outside else FULL_SIZE))

    @property
    def _white_width(self) -> float:
        return self.width / (_white_place(self.high) + 1 - _white_place(self.low))

    def left_of(self, key: int) -> float:
        """Return where a key begins; keys outside are at the ends, which are white keys."""
        if key <= self.low:
            return self.x
        if key > self.high:
            return self.x + self.width
        return self.x + (_border(key) - _white_place(self.low)) * self._white_width

    def band(self, keys: tuple[int, int], y: float, height: float) -> Frame:
        """Return the area of a range of keys, ends included."""
        left = self.left_of(keys[0])
        return Frame(left, y, self.left_of(keys[1] + 1) - left, height)

    def draw(self, y: float, height: float) -> list[Shape]:
        """Return the keys; `height` is that of white ones."""
        white = self._white_width
        first = _white_place(self.low)
        whites = [_white_place(key) for key in range(self.low + 1, self.high + 1) if _is_white(key)]
        lines = "".join(f"M{number(self.x + (place - first) * white)} {number(y)}v{number(height)}" for place in whites)
        blacks = "".join(
            f"M{number(self.x + (_white_place(key - 1) + 1 - first) * white)} {number(y)}v{number(0.6 * height)}"
            for key in range(self.low + 1, self.high + 1)
            if not _is_white(key)
        )
        return [
            Box(Frame(self.x, y, self.width, height), fill=PAPER),
            Path(lines, stroke=GREY, stroke_width=1),
            Path(blacks, stroke_width=_BLACK_WIDTH * white),
        ]

    def labels(self, baseline: float, size: float, naming: Naming) -> list[Shape]:
        """Return the names of the Cs, or of middle C alone where they are too many for the room."""
        octaves = [key for key in range(0, 128, 12) if self.low <= key <= self.high]
        if 7 * self._white_width < text_width("C-1 ", size):
            octaves = [60]
        return [Text(self.left_of(key), baseline, format_note(key, naming), size, fill=INK) for key in octaves]
