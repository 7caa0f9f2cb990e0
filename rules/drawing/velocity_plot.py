"""Velocity curves as plots with axes: how hard a note is played, and how hard it is sent."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from typing import Final

from rules.drawing.style import MARGIN
from rules.drawing.svg import A4_LONG, A4_SHORT, GREY, PALE, Frame, Path, Picture, Shape, Text, fitted, number
from rules.drawing.text_width import text_width
from rules.drawing.view import Curve
from rules.drawing.writing import wrapped
from rules.steps.velocity import Shape as VelocityShape

_MARKS: Final = (1, 32, 64, 96, 127)
_FEW_MARKS: Final = (1, 64, 127)
_MOST_COLUMNS: Final = 8
_MOST_PLOTS: Final = 96  # they take up to 1.6 kB each
_LARGEST: Final = 1100.0
_TITLE_LINES: Final = 4.4


def draw_curves(title: str, curves: Sequence[Curve]) -> Picture:
    """Return a page of velocity curves: the first 96 of more. Beyond 48 the page is longer than A4."""
    heading = f"Velocity curves of {title}"
    if len(curves) > _MOST_PLOTS:
        heading = f"The first {_MOST_PLOTS} of {len(curves)} velocity curves of {title}"
        curves = curves[:_MOST_PLOTS]
    top = MARGIN + 100
    wide, high = A4_LONG - 2 * MARGIN, A4_SHORT - top - MARGIN / 2
    columns = max(
        range(1, _MOST_COLUMNS + 1), key=lambda many: min(wide / many, high / _rows(len(curves), many), _LARGEST)
    )
    rows = _rows(len(curves), columns)
    width = wide / columns
    height = min(max(high / rows, 0.88 * width if columns == _MOST_COLUMNS else 0), width, _LARGEST)
    picture = Picture(
        A4_LONG,
        top + rows * height + MARGIN / 2,
        heading,
        f"{len(curves)} velocity curve{'s' if len(curves) != 1 else ''}.",
    )
    picture.add([fitted(MARGIN, MARGIN + 40, heading, 48, A4_LONG - 2 * MARGIN, bold=True)])
    for place, curve in enumerate(curves):
        row, column = divmod(place, columns)
        picture.add(draw_plot(curve, Frame(MARGIN + column * width, top + row * height, width, height)))
    return picture


def _rows(plots: int, columns: int) -> int:
    return -(-plots // columns)


def draw_plot(curve: Curve, frame: Frame) -> list[Shape]:
    """Return one curve with its axes, its letters, words and places within a frame."""
    size = min(34.0, max(15.0, frame.width / 17))
    room = frame.width - 0.8 * size
    y = frame.y + size
    shapes: list[Shape] = [fitted(frame.x, y, f"{curve.letters}: {curve.words}", size, room, bold=True)]
    whole = "; ".join(curve.places)
    for line in wrapped(whole, 0.8 * size, room, 2):
        y += size
        shapes.append(Text(frame.x, y, line, 0.8 * size, fill=GREY, whole=whole if line.endswith("\u2026") else ""))
    left, top = frame.x + 3.6 * size, frame.y + (_TITLE_LINES - 0.6) * size
    side = min(frame.right - 1.2 * size - left, frame.bottom - 3.2 * size - top)
    return [*shapes, *_axes(left, top, side, 0.8 * size), *_line(curve.shape, left, top, side)]


def _axes(left: float, top: float, side: float, size: float) -> Iterator[Shape]:
    """Yield the grid, its numbers, and the line of what stays as it is."""
    bottom, right = top + side, left + side
    marks = _MARKS if (_share(_MARKS[-1]) - _share(_MARKS[-2])) * side > text_width("127 ", size) else _FEW_MARKS
    grid = "".join(
        f"M{number(left + _share(mark) * side)} {number(top)}V{number(bottom)}"
        f"M{number(left)} {number(bottom - _share(mark) * side)}H{number(right)}"
        for mark in marks
    )
    yield Path(grid, stroke=PALE, stroke_width=1)
    yield Path(f"M{number(left)} {number(bottom)}L{number(right)} {number(top)}", stroke=GREY, dash="6 8")
    yield Path(f"M{number(left)} {number(top)}V{number(bottom)}H{number(right)}", stroke_width=3)
    for mark in marks:
        yield Text(left + _share(mark) * side, bottom + 1.2 * size, str(mark), size, anchor="middle")
        yield Text(left - 0.4 * size, bottom - _share(mark) * side + 0.35 * size, str(mark), size, anchor="end")
    yield Text(right, bottom + 2.5 * size, "velocity played \u2192", size, anchor="end")
    yield Text(left + 0.5 * size, top + 1.0 * size, "\u2191 sent", size)


def _line(shape: VelocityShape, left: float, top: float, side: float) -> Iterator[Shape]:
    """Yield the curve itself; what lies on a straight line between its neighbours is left out."""
    sent = [(played, shape.of(played)) for played in range(1, 128)]
    kept = [
        here
        for before, here, behind in zip([sent[0], *sent], sent, [*sent[1:], sent[-1]], strict=False)
        if here in (sent[0], sent[-1]) or here[1] - before[1] != behind[1] - here[1]
    ]
    points = [(left + _share(played) * side, top + side - _share(out) * side) for played, out in kept]
    data = "L".join(f"{number(x)} {number(y)}" for x, y in points)
    yield Path(f"M{data}", stroke_width=6)


def _share(velocity: int) -> float:
    return (velocity - 1) / 126
