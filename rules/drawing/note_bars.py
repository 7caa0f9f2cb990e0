"""The notes of one lane as lines, those of one fate as one path.

Marks don't depend on colours: a note as played is black, one that moved is light between two lines, one that comes
later is grey. One that was added is white between two lines, and one that was dropped has a cross at its beginning too.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from types import MappingProxyType
from typing import Final

from rules.drawing.svg import INK, PAPER, Frame, Path, Shape, Traced, number
from rules.drawing.take_notes import Bar, Fate, Lane

_FILLS: Final[Mapping[Fate, tuple[str, bool]]] = MappingProxyType(
    {
        Fate.KEPT: (INK, False),
        Fate.MOVED: ("#ffb84d", True),
        Fate.ADDED: (PAPER, True),
        Fate.LATER: ("#8c8c8c", False),
        Fate.DROPPED: (PAPER, True),
    }
)
"""The colour of each fate, and whether notes have an outline."""

_LEAST_KEYS: Final = 13
_THINNEST, _THICKEST = 7.0, 26.0
_SHORTEST: Final = 4
_CROSS_STEP: Final = 28

Span = tuple[int, int]
"""From where to where a line goes, in whole units from the left edge."""


def draw_notes(lane: Lane, frame: Frame, scale: float, grain: int, name: str) -> Iterator[Shape]:
    """Yield the notes of a lane; what was dropped is on top.

    `scale` is the width of a tick. Lines begin and end at multiples of `grain`, and with more than 1, so do their
    heights. `name` tells the paths from those of other lanes.
    """
    keys = [bar.key for bar in lane.bars] or [60]
    high = max(keys)
    kinds = high - min(keys) + 1
    spare = max(_LEAST_KEYS - kinds, 0)
    row = (frame.height - 12) / (kinds + spare)
    width = min(max(row, _THINNEST), _THICKEST)
    for fate in Fate:
        rows: dict[float, list[Span]] = {}
        for bar in lane.bars:
            if bar.fate is fate:
                y = (high - bar.key + spare / 2 + 0.5) * row
                y = y if grain == 1 else round(y / grain) * grain
                rows.setdefault(frame.y + 6 + y, []).append(_span(bar, scale, grain))
        if rows:
            yield from _lines(frame.x, rows, fate, width, f"{name}{fate.name}".lower(), grain)


def sample(fate: Fate, x: float, y: float) -> Iterator[Shape]:
    """Yield a note of a fate for the legend."""
    return _lines(x, {y: [(0, 60)]}, fate, 22.0, f"legend{fate.name}".lower(), 1)


def _lines(
    x: float, rows: Mapping[float, Sequence[Span]], fate: Fate, width: float, name: str, grain: int
) -> Iterator[Shape]:
    """Yield the notes of one fate, by their heights."""
    fill, is_outlined = _FILLS[fate]
    strokes = [(INK, width), (fill, width - min(5.0, width / 2))] if is_outlined else [(fill, width)]
    yield Traced("".join(_row(x, y, rows[y], grain) for y in sorted(rows)), name, tuple(strokes))
    if fate is Fate.DROPPED:
        step = max(_CROSS_STEP, 2 * grain)
        yield Path("".join(_crosses(x, y, rows[y], step) for y in sorted(rows)), stroke_width=4)


def _span(bar: Bar, scale: float, grain: int) -> Span:
    """Where a note is drawn. A short one is still to be seen; one that ends where the next begins leaves a gap."""
    begin, end = (round(tick * scale / grain) * grain for tick in (bar.begin, bar.end))
    return begin, max(end - 1, begin + max(grain, _SHORTEST))


def _row(x: float, y: float, spans: Iterable[Span], grain: int) -> str:
    """Return the notes of one height as a path; those that meet are one line, and coarse ones that nearly meet too."""
    joined: list[list[int]] = []
    for begin, end in sorted(spans):
        if joined and begin < joined[-1][1] + grain:
            joined[-1][1] = max(joined[-1][1], end)
        else:
            joined.append([begin, end])
    here = 0
    parts = [f"M{number(x)} {number(y)}"]
    for begin, end in joined:
        parts.append(f"m{begin - here} 0h{end - begin}")
        here = end
    return "".join(parts)


def _crosses(x: float, y: float, spans: Iterable[Span], step: int) -> str:
    """Return crosses at the beginnings of notes of one height, each where there is room for it."""
    parts = []
    free = -step
    for begin, _ in sorted(spans):
        if begin >= free:
            parts.append(f"M{number(x + begin - 7)} {number(y - 7)}l14 14m0-14l-14 14")
            free = begin + step
    return "".join(parts)
