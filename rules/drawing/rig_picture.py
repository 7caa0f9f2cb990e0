"""The picture of a rig on one page: sources at the left, rules in the middle, outputs with their devices at the right.

Every style is tried, the best readable first, until one fits on an A4 page.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import Final, NamedTuple

from rules.drawing.alignment import tops
from rules.drawing.end_boxes import DrawnEnd, draw_end, draw_output
from rules.drawing.hatching import hatches
from rules.drawing.lines import lines_in, lines_out
from rules.drawing.panels import panels
from rules.drawing.rig_order import in_order
from rules.drawing.rule_box import DrawnRule, draw_rule
from rules.drawing.style import ENDLESS, MARGIN, Style, styles
from rules.drawing.svg import Frame, Picture, Shape, fitted
from rules.drawing.text_width import text_width
from rules.drawing.velocity_plot import draw_plot
from rules.drawing.view import Curve, EndView, RigView
from rules.drawing.writing import badge_width

_MOST_CURVES: Final = 6
_LEAST_SIZE_WITH_CURVES: Final = 26
_LEAST_RULE_WIDTH: Final = 20
"""How many times the size of names a rule box is wide at least."""
_LARGEST_PLOT: Final = 560.0


@dataclass(frozen=True, slots=True)
class RigPicture:
    """A picture, and whether it has the velocity curves that there are."""

    picture: Picture
    has_curves: bool


def draw_rig(view: RigView) -> RigPicture:
    """Return the picture of a rig. One that no page can hold is longer than A4."""
    view = in_order(view)
    if 0 < len(view.curves) <= _MOST_CURVES:
        for style in styles():
            if style.size >= _LEAST_SIZE_WITH_CURVES:
                page = _Page(view, style, view.curves)
                if page.fits:
                    return RigPicture(page.picture(), True)
    for style in styles():
        page = _Page(view, style)
        if page.fits:
            return RigPicture(page.picture(), not view.curves)
    return RigPicture(_Page(view, ENDLESS).picture(), not view.curves)


class _Columns(NamedTuple):
    """Where columns begin and how wide they are; at their stubs, lines are straight and have their labels."""

    source_width: float
    entry_stub: float
    rule_x: float
    rule_width: float
    exit_stub: float
    output_x: float
    output_width: float


def _columns(view: RigView, style: Style) -> _Columns:
    """Share the width of a page."""
    page = style.page_width
    ends = [end for output in view.outputs for end in (output.port, *output.devices)]
    labels = [leaving.label for rule in view.rules for leaving in rule.every_exit]
    source_width = min(_natural(view.sources, style), 0.19 * page)
    output_width = min(_natural(ends, style) + 3 * style.pad, 0.21 * page)
    entry_stub = min(_longest([rule.label for rule in view.rules], style) + 1.6 * style.size, 0.1 * page)
    exit_stub = min(_longest(labels, style) + style.size, 0.11 * page)
    gutter = 0.05 * page
    rule_x = MARGIN + source_width + gutter + entry_stub
    output_x = page - MARGIN - output_width
    rule_width = output_x - 1.25 * gutter - exit_stub - rule_x
    return _Columns(source_width, entry_stub, rule_x, rule_width, exit_stub, output_x, output_width)


def _natural(ends: Sequence[EndView], style: Style) -> float:
    """Return how wide boxes are whose names, facts and first findings are not shortened."""
    names = [text_width(end.name, style.size, True) for end in ends]
    facts = [text_width(fact, style.small) for end in ends for fact in end.facts]
    badges = [badge_width(end.marks[0].label, style) for end in ends if end.marks]
    return max([*names, *facts, *badges, 5 * style.size]) + 2.2 * style.pad


def _longest(texts: Sequence[str], style: Style) -> float:
    return max((text_width(text, style.small) for text in texts), default=0)


class _Page:
    """A rig laid out in one style, with some velocity curves below it."""

    def __init__(self, view: RigView, style: Style, curves: Sequence[Curve] = ()) -> None:
        self._view = view
        self._style = style
        self._curves = curves
        self._columns = _columns(view, style)
        self._top = MARGIN + 2.4 * style.size
        self._rules: list[DrawnRule] = []
        self._content = self._height = 0.0
        self.fits = self._stack_rules() and self._measure()

    def _stack_rules(self) -> bool:
        """Draw the rules from above to below; return whether they fit, and are wide enough to be read."""
        style, y = self._style, self._top
        if self._columns.rule_width < _LEAST_RULE_WIDTH * style.size and style != ENDLESS:
            return False
        for rule in self._view.rules:
            drawn = draw_rule(rule, style, self._columns.rule_x, y, self._columns.rule_width)
            self._rules.append(drawn)
            y = drawn.frame.bottom + style.gap
            if y > style.page_height:
                return False
        return True

    def _measure(self) -> bool:
        """Find how high the page gets; return whether it fits."""
        style = self._style
        columns: list[Sequence[DrawnRule | DrawnEnd]] = [self._rules, self._sources(), self._outputs()]
        self._content = max(
            sum(drawn.frame.height for drawn in column) + style.gap * max(len(column) - 1, 0) for column in columns
        )
        _, below = self._below(0)
        self._height = self._top + self._content + style.size + below + MARGIN / 2
        return self._height <= style.page_height

    def _sources(self, ys: Sequence[float] = ()) -> list[DrawnEnd]:
        """Draw the sources at some heights; all at the top if none are given."""
        width = self._columns.source_width
        return [
            draw_end(source, self._style, MARGIN, ys[at] if ys else 0, width)
            for at, source in enumerate(self._view.sources)
        ]

    def _outputs(self, ys: Sequence[float] = ()) -> list[DrawnEnd]:
        """Draw the outputs at some heights; all at the top if none are given."""
        x, width = self._columns.output_x, self._columns.output_width
        return [
            draw_output(output, self._style, x, ys[at] if ys else 0, width)
            for at, output in enumerate(self._view.outputs)
        ]

    def _below(self, y: float) -> tuple[list[Shape], float]:
        """Draw curves and panels from `y` down; return where they end."""
        shapes: list[Shape] = []
        if self._curves:
            room = self._style.page_width - 2 * MARGIN
            side = min(room / max(len(self._curves), 3), _LARGEST_PLOT)
            for at, curve in enumerate(self._curves):
                shapes += draw_plot(curve, Frame(MARGIN + at * side, y, side, side))
            y += side + 0.6 * self._style.size
        more, y = panels(self._view, self._style, y, with_curves=bool(self._curves))
        return [*shapes, *more], y

    # -- the finished page --------------------------------------------------------------------------------------------

    def picture(self) -> Picture:
        """Return the page, cut below its content."""
        view, style, columns = self._view, self._style, self._columns
        sources = self._sources(self._aligned(self._sources(), self._entries()))
        outputs = self._outputs(self._aligned(self._outputs(), self._arrivals()))
        room = style.page_width - 2 * MARGIN
        shapes: list[Shape] = [fitted(MARGIN, MARGIN + style.size, view.title, 1.3 * style.size, room, bold=True)]
        for column in (sources, self._rules, outputs):
            shapes += [shape for drawn in column for shape in drawn.shapes]
        shapes += lines_in(view.rules, self._rules, sources, columns.rule_x - columns.entry_stub, style)
        shapes += lines_out(self._rules, outputs, columns.rule_x + columns.rule_width + columns.exit_stub, style)
        shapes += self._below(self._top + self._content + style.size)[0]
        zones = max((len(rule.zones) for rule in view.rules), default=0)
        return Picture(style.page_width, self._height, view.title, _summary(view), shapes, hatches(zones))

    def _entries(self) -> Iterator[list[float]]:
        """Yield for each source the heights at which its lines enter rules."""
        found: dict[str, list[float]] = defaultdict(list)
        for rule, drawn in zip(self._view.rules, self._rules, strict=True):
            for source in rule.sources:
                found[source].append(drawn.entry)
        return (found[source.name] for source in self._view.sources)

    def _arrivals(self) -> Iterator[list[float]]:
        """Yield for each output the heights at which lines to it leave rules."""
        found: dict[str, list[float]] = defaultdict(list)
        for leaving in (leaving for drawn in self._rules for leaving in drawn.exits):
            for each in leaving.exits:
                found[each.target].append(leaving.y)
        for output in self._view.outputs:
            yield [y for end in (output.port, *output.devices) for y in found[end.name]]

    def _aligned(self, drawn: Sequence[DrawnEnd], lines: Iterator[list[float]]) -> list[float]:
        """Return where the boxes of an outer column begin: at the middle of their lines, those without lines below."""
        low, high = self._top, self._top + self._content
        wishes = [sum(heights) / len(heights) if heights else high for heights in lines]
        return tops([each.frame.height for each in drawn], wishes, self._style.gap, low, high)


def _summary(view: RigView) -> str:
    devices = sum(len(output.devices) for output in view.outputs)
    counts = {"source": len(view.sources), "rule": len(view.rules), "output": len(view.outputs), "device": devices}
    return ", ".join(f"{amount} {thing}{'s' if amount != 1 else ''}" for thing, amount in counts.items()) + "."
