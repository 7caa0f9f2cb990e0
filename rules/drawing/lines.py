"""The lines of a rig, with channels: from sources into rules, and from rules to outputs and devices.

A line ends in a straight piece with its label, so that labels have a place where nothing else is.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from typing import Final

from rules.drawing.end_boxes import DrawnEnd
from rules.drawing.hatching import line_colour
from rules.drawing.rule_box import DrawnRule
from rules.drawing.style import Style
from rules.drawing.svg import Frame, Path, Shape, fitted, number
from rules.drawing.view import RuleView

_WIDTH: Final = 4
_DASH: Final = "14 8"
_ARROW: Final = 16  # what an arrowhead takes of the end of a line


def lines_in(
    rules: Sequence[RuleView], drawn: Sequence[DrawnRule], sources: Sequence[DrawnEnd], joint: float, style: Style
) -> Iterator[Shape]:
    """Yield the lines from sources to rules. All lines into one rule meet at `joint`, an x, where its label begins."""
    frames = {name: end.frame for end in sources for name in end.targets}
    leaving: dict[str, list[float]] = {}
    for rule, box in zip(rules, drawn, strict=True):
        for source in rule.sources:
            leaving.setdefault(source, []).append(box.entry)
    begins = {
        (source, entry): y
        for source, entries in leaving.items()
        for entry, y in zip(sorted(entries), _spread(frames[source], len(entries)), strict=True)
    }
    colours = {name: line_colour(at) for at, name in enumerate(frames)}
    for rule, box in zip(rules, drawn, strict=True):
        dash = _DASH if rule.when else ""
        for source in rule.sources:
            tip = f"{source}: {rule.label}, to {rule.name}"
            curve = _curve(frames[source].right, begins[source, box.entry], joint, box.entry)
            yield Path(curve, colours[source], _WIDTH, dash=dash, tip=tip)
        straight = f"M{number(joint)} {number(box.entry)}H{number(box.frame.x - 2)}"
        yield Path(straight, colours[rule.sources[0]], _WIDTH, dash=dash, arrow=True)
        yield _label(rule.label, joint, box.entry, box.frame.x - joint - _ARROW, style)


def lines_out(drawn: Sequence[DrawnRule], outputs: Sequence[DrawnEnd], joint: float, style: Style) -> Iterator[Shape]:
    """Yield the lines from rules to outputs and devices; up to `joint`, an x, they are straight, with their labels."""
    frames = {name: frame for end in outputs for name, frame in end.targets.items()}
    arriving: dict[str, list[float]] = {}
    for leaving in (leaving for box in drawn for leaving in box.exits):
        for each in leaving.exits:
            arriving.setdefault(each.target, []).append(leaving.y)
    ends = {target: iter(_spread(frames[target], len(heights))) for target, heights in arriving.items()}
    colours = {name: line_colour(at) for at, name in enumerate(frames)}
    for box in drawn:  # from above to below, as lines arrive
        begin = box.frame.right
        for leaving in box.exits:
            dash = _DASH if leaving.sometimes else ""
            for each in leaving.exits:
                straight = f"M{number(begin)} {number(leaving.y)}H{number(joint)}"
                curve = _curve(joint, leaving.y, frames[each.target].x - 2, next(ends[each.target]))
                tip = f"{leaving.label}, to {each.target}"
                yield Path(straight + curve, colours[each.target], _WIDTH, dash=dash, arrow=True, tip=tip)
            yield _label(leaving.label, begin, leaving.y, joint - begin, style)


def _label(text: str, x: float, y: float, room: float, style: Style) -> Shape:
    return fitted(x + 0.3 * style.size, y - 0.22 * style.size, text, style.small, room - 0.6 * style.size)


def _spread(frame: Frame, amount: int) -> list[float]:
    """Return heights for lines at the side of a frame, evenly apart."""
    return [frame.y + frame.height * (at + 1) / (amount + 1) for at in range(amount)]


def _curve(x: float, y: float, to_x: float, to_y: float) -> str:
    """Return a line that leaves and arrives level."""
    middle = number((x + to_x) / 2)
    return f"M{number(x)} {number(y)}C{middle} {number(y)} {middle} {number(to_y)} {number(to_x)} {number(to_y)}"
