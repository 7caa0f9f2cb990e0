"""What stands below the picture of a rig: switches, findings, velocity curves, and how to read it."""

from __future__ import annotations

from collections.abc import Sequence

from rules.drawing.style import MARGIN, Style
from rules.drawing.svg import GREY, INK, PALE, Path, Shape, Text, number
from rules.drawing.text_width import text_width
from rules.drawing.view import RigView
from rules.drawing.writing import BoxWriter, badge, wrapped

_MOST_LINES = 12


def panels(view: RigView, style: Style, y: float, *, with_curves: bool) -> tuple[list[Shape], float]:
    """Return the panels that there are, from `y` down, and where they end."""
    shapes: list[Shape] = []
    if view.switches:
        shapes += _title("Switches", style, y)
        y += 1.5 * style.size
        more, y = _switches(view.switches, style, y)
        shapes += more
    if view.marks:
        shapes += _title("Findings", style, y)
        y += 1.75 * style.size
        more, y = _findings(view, style, y)
        shapes += more
    legend = BoxWriter(MARGIN, y, style.page_width - 2 * MARGIN, style)
    legend.lines([_legend(view, with_curves)], most=2)
    return [*shapes, *legend.shapes], legend.y + 0.2 * style.size


def _title(text: str, style: Style, y: float) -> list[Shape]:
    right = style.page_width - MARGIN
    rule = Path(f"M{number(MARGIN)} {number(y + 0.2 * style.size)}H{number(right)}", stroke=PALE, stroke_width=2)
    return [rule, Text(MARGIN, y + 1.25 * style.size, text, style.size, bold=True)]


def _switches(lines: Sequence[tuple[str, str]], style: Style, y: float) -> tuple[list[Shape], float]:
    shapes: list[Shape] = []
    most = max(text_width(name, style.small, True) for name, _ in lines)
    column = min(most + style.size, 0.25 * style.page_width)
    for name, text in lines[:_MOST_LINES]:
        named = wrapped(name, style.small, column - style.size, 1)[0]
        writer = BoxWriter(MARGIN + column, y, style.page_width - 2 * MARGIN - column, style)
        writer.lines([text], most=2, fill=INK)
        baseline = y + style.line - 0.3 * style.small
        whole = name if named != name else ""
        shapes += [Text(MARGIN, baseline, named, 0.96 * style.small, bold=True, whole=whole), *writer.shapes]
        y = writer.y
    return _more(len(lines) - _MOST_LINES, "switches", shapes, style, y)


def _findings(view: RigView, style: Style, y: float) -> tuple[list[Shape], float]:
    shapes: list[Shape] = []
    column = max(text_width(mark.label, style.small, True) for mark in view.marks) + 1.5 * style.size
    for mark in view.marks:
        writer = BoxWriter(MARGIN + column, y, style.page_width - 2 * MARGIN - column, style)
        writer.lines([f"{mark.place}: {mark.text}"], most=2, fill=INK)
        shapes += [*badge(mark, MARGIN, y + style.line - 0.3 * style.small, style), *writer.shapes]
        y = max(writer.y, y + 1.35 * style.size)
    return _more(view.more_marks, "findings; `pointsman check` shows all", shapes, style, y)


def _more(amount: int, things: str, shapes: list[Shape], style: Style, y: float) -> tuple[list[Shape], float]:
    if amount > 0:
        writer = BoxWriter(MARGIN, y, style.page_width - 2 * MARGIN, style)
        writer.lines([f"and {amount} more {things}"], fill=GREY)
        return [*shapes, *writer.shapes], writer.y
    return shapes, y


def _legend(view: RigView, with_curves: bool) -> str:
    parts = ["ch: MIDI channel", "11 \u2192 4: arrives on channel 11 and leaves on channel 4"]
    if any(leaving.sometimes for rule in view.rules for leaving in rule.every_exit):
        parts.append("dashed: only while switches allow it")
    if view.curves and not with_curves:
        parts.append("curve A: in the picture that `pointsman draw --curves` makes")
    return "; ".join(parts)
