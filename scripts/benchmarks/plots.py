"""Curves as SVG files: a few lines over labelled axes."""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from pathlib import Path
from typing import Final
from xml.sax.saxutils import escape

from benchmarks.figures import Curve

WIDTH: Final = 720
HEIGHT: Final = 440
LEFT, RIGHT, TOP, BOTTOM = 84, 150, 48, 60
INK: Final = "#222222"
GRID: Final = "#dddddd"
COLOURS: Final = ("#1b6ca8", "#c2571a", "#2e7d4f", "#7a3e9d", "#555555")
DASHES: Final = ("", "8 4", "2 3", "10 3 2 3", "1 4")
"""Lines differ in their dashes too: colour is never all that tells them apart."""


def draw(curves: Iterable[Curve], folder: Path) -> None:
    """Write a file for each curve, named after it."""
    folder.mkdir(parents=True, exist_ok=True)
    for curve in curves:
        (folder / f"{curve.name}.svg").write_text(as_svg(curve), encoding="utf-8")


def as_svg(curve: Curve) -> str:
    """The picture of one curve."""
    points = [point for line in curve.lines.values() for point in line]
    across = _Axis([x for x, _ in points], curve.log_x, LEFT, WIDTH - RIGHT)
    up = _Axis([0.0 if not curve.log_y else min(y for _, y in points), *(y for _, y in points)], curve.log_y,
               HEIGHT - BOTTOM, TOP)  # fmt: skip
    middle = (LEFT + WIDTH - RIGHT) / 2
    parts = [
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {WIDTH} {HEIGHT}" font-family="sans-serif" '
        f'font-size="13" role="img">',
        f"<title>{escape(curve.title)}</title>",
        f'<rect width="{WIDTH}" height="{HEIGHT}" fill="#ffffff"/>',
        _text(LEFT, 26, curve.title, size=16),
        *_grid(across, up),
        _text(middle, HEIGHT - 16, curve.x, anchor="middle"),
        f'<g transform="translate(22 {(TOP + HEIGHT - BOTTOM) / 2}) rotate(-90)">'
        f"{_text(0, 0, curve.y, anchor='middle')}</g>",
        *_lines(curve, across, up),
        "</svg>",
    ]
    return "\n".join(parts) + "\n"


class _Axis:
    """From values to places on the picture, and the values that are marked."""

    def __init__(self, values: Sequence[float], log: bool, begin: float, end: float) -> None:
        self._log, self._begin, self._end = log, begin, end
        low, high = min(values), max(values)
        if low == high:
            high = low + 1
        if log:
            self.marks = _powers(low, high)
        else:
            step = _round_step(high - low)
            if all(value == int(value) for value in values):
                step = max(1.0, step)
            self.marks = [step * at for at in range(math.floor(low / step), math.ceil(high / step) + 1)]
        self._low, self._high = self._scaled(self.marks[0]), self._scaled(self.marks[-1])

    def at(self, value: float) -> float:
        """Where a value lies."""
        share = (self._scaled(value) - self._low) / (self._high - self._low)
        return self._begin + share * (self._end - self._begin)

    def _scaled(self, value: float) -> float:
        return math.log10(value) if self._log else value


def _powers(low: float, high: float) -> list[float]:
    """Powers of ten around the values; 2 and 5 between them where there are few."""
    first, last = math.floor(math.log10(low)), math.ceil(math.log10(high))
    last = max(last, first + 1)
    steps = (1, 2, 5) if last - first <= 2 else (1,)
    return [step * 10.0**power for power in range(first, last) for step in steps] + [10.0**last]


def _round_step(extent: float) -> float:
    """A step of 1, 2 or 5 times a power of ten that divides an extent into some five parts."""
    rough = extent / 5
    power = 10.0 ** math.floor(math.log10(rough))
    return next(step * power for step in (1, 2, 5, 10) if step * power >= rough)


def _grid(across: _Axis, up: _Axis) -> list[str]:
    right, bottom = WIDTH - RIGHT, HEIGHT - BOTTOM
    parts = []
    for value in across.marks:
        x = across.at(value)
        parts.append(f'<path d="M{x:.1f} {TOP}V{bottom}" stroke="{GRID}"/>')
        parts.append(_text(x, bottom + 20, _label(value), anchor="middle"))
    for value in up.marks:
        y = up.at(value)
        parts.append(f'<path d="M{LEFT} {y:.1f}H{right}" stroke="{GRID}"/>')
        parts.append(_text(LEFT - 8, y + 4, _label(value), anchor="end"))
    parts.append(f'<path d="M{LEFT} {TOP}V{bottom}H{right}" fill="none" stroke="{INK}"/>')
    return parts


def _lines(curve: Curve, across: _Axis, up: _Axis) -> list[str]:
    """Each line with its points, and its name at its end, moved apart where two ends meet."""
    parts = []
    ends = {name: up.at(line[-1][1]) for name, line in curve.lines.items()}
    places = _apart(ends, 17)
    for number, (name, line) in enumerate(curve.lines.items()):
        is_ideal = curve.ideal and number == len(curve.lines) - 1
        colour = "#888888" if is_ideal else COLOURS[number % len(COLOURS)]
        dash = "2 4" if is_ideal else DASHES[number % len(DASHES)]
        places_of_points = [(across.at(x), up.at(y)) for x, y in line]
        path = " ".join(f"{x:.1f},{y:.1f}" for x, y in places_of_points)
        parts.append(
            f'<polyline points="{path}" fill="none" stroke="{colour}" stroke-width="2" stroke-dasharray="{dash}"/>'
        )
        if not is_ideal:
            parts += [f'<circle cx="{x:.1f}" cy="{y:.1f}" r="3.5" fill="{colour}"/>' for x, y in places_of_points]
        last = places_of_points[-1][0]
        parts.append(_text(last + 10, places[name] + 4, name, colour=colour))
    return parts


def _apart(ends: dict[str, float], distance: float) -> dict[str, float]:
    """Places for names, from above to below, none nearer to the next than `distance`."""
    places: dict[str, float] = {}
    lowest = -math.inf
    for name in sorted(ends, key=ends.__getitem__):
        lowest = places[name] = max(ends[name], lowest + distance)
    return places


def _text(x: float, y: float, text: str, anchor: str = "start", size: int = 13, colour: str = INK) -> str:
    return (
        f'<text x="{x:.1f}" y="{y:.1f}" text-anchor="{anchor}" font-size="{size}" fill="{colour}">{escape(text)}</text>'
    )


def _label(value: float) -> str:
    return f"{value:,.0f}" if value >= 10 or value == int(value) else f"{value:g}"
