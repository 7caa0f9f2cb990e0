"""The picture of a rig on one page: sources at the left, rules in the middle, outputs with their devices at the right.

Every style is tried, the best readable first, until one fits on an A4 page.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Final

from rules.rig.alignment import tops
from rules.rig.crossings import Layers, Order, least_crossings
from rules.rig.end_boxes import DrawnEnd, draw_end, draw_output
from rules.rig.hatching import hatches
from rules.rig.lines import lines_in, lines_out
from rules.rig.panels import panels
from rules.rig.rule_box import DrawnRule, draw_rule
from rules.rig.style import ENDLESS, MARGIN, Style, styles
from rules.rig.svg import Frame, Picture, Shape, fitted
from rules.rig.text_width import text_width
from rules.rig.velocity_plot import draw_plot
from rules.rig.view import EndView, OutputView, RigView, RuleView

_MOST_CURVES: Final = 6
_LEAST_SIZE_WITH_CURVES: Final = 26
_LEAST_RULE_WIDTH: Final = 20
"""How many times the size of names a rule box is wide at least."""


@dataclass(frozen=True, slots=True)
class RigPicture:
    """A picture, and whether it has the velocity curves that there are."""

    picture: Picture
    has_curves: bool


def draw_rig(view: RigView) -> RigPicture:
    """Return the picture of a rig. One that no page can hold is longer than A4."""
    order = _order(view)
    curves = view.curves if len(view.curves) <= _MOST_CURVES else ()
    if curves:
        for style in styles():
            if style.size >= _LEAST_SIZE_WITH_CURVES:
                page = _Page(view, order, style, with_curves=True)
                if page.fits:
                    return RigPicture(page.picture(), True)
    for style in styles():
        page = _Page(view, order, style, with_curves=False)
        if page.fits:
            return RigPicture(page.picture(), not view.curves)
    return RigPicture(_Page(view, order, ENDLESS, with_curves=False).picture(), not view.curves)


def _order(view: RigView) -> Order:
    """Return the order of all columns with few crossings."""
    sources = {source.name: number for number, source in enumerate(view.sources)}
    targets: dict[str, int] = {}
    outputs = []
    for output in view.outputs:
        names = [output.port.name, *(device.name for device in output.devices)]
        numbers = [targets.setdefault(name, len(targets)) for name in names]
        outputs.append(numbers)
    branches = [[zone.exits for zone in rule.zones] or [rule.exits] for rule in view.rules]
    layers = Layers(
        len(sources),
        [[sources[name] for name in rule.sources] for rule in view.rules],
        [[[targets[leaving.target] for leaving in exits] for exits in of_rule] for of_rule in branches],
        outputs,
    )
    return least_crossings(layers, frozenset(numbers[0] for numbers in outputs))


class _Page:
    """A rig laid out in one style."""

    def __init__(self, view: RigView, order: Order, style: Style, *, with_curves: bool) -> None:
        self._view = view
        self._style = style
        self._sources = [view.sources[number] for number in order.sources]
        self._outputs = [self._with_devices(view.outputs[number], order, number) for number in order.outputs]
        self._rules = [_sorted_exits(view.rules[number], self._places()) for number in order.rules]
        self._curves = view.curves if with_curves else ()
        self._columns()
        self._top = MARGIN + 2.4 * style.size
        self._drawn_rules: list[DrawnRule] = []
        self._content = self._height = 0.0
        self.fits = self._stack_rules() and self._measure()

    def _with_devices(self, output: OutputView, order: Order, number: int) -> tuple[OutputView, list[EndView]]:
        """Return an output with its devices in the order of the picture."""
        first = sum(1 + len(each.devices) for each in self._view.outputs[:number])
        return output, [output.devices[target - first - 1] for target in order.targets_of(number)[1:]]

    def _places(self) -> dict[str, int]:
        names = [name for output, devices in self._outputs for name in (output.port.name, *(d.name for d in devices))]
        return {name: place for place, name in enumerate(names)}

    # -- columns ------------------------------------------------------------------------------------------------------

    def _columns(self) -> None:
        """Share the width of the page."""
        style, page = self._style, self._style.page_width
        self._source_width = min(_natural(self._sources, style), 0.19 * page)
        ends = [end for output, devices in self._outputs for end in (output.port, *devices)]
        self._output_width = min(_natural(ends, style) + 3 * style.pad, 0.21 * page)
        labels = [leaving.label for rule in self._rules for leaving in rule.every_exit]
        self._entry_stub = min(_longest([rule.label for rule in self._rules], style) + 1.6 * style.size, 0.1 * page)
        self._exit_stub = min(_longest(labels, style) + style.size, 0.11 * page)
        gutter = 0.05 * page
        self._rule_x = MARGIN + self._source_width + gutter + self._entry_stub
        self._output_x = page - MARGIN - self._output_width
        self._rule_width = self._output_x - 1.25 * gutter - self._exit_stub - self._rule_x

    def _stack_rules(self) -> bool:
        """Draw the rules from above to below; return whether they fit, and are wide enough to be read."""
        style, y = self._style, self._top
        if self._rule_width < _LEAST_RULE_WIDTH * style.size and style != ENDLESS:
            return False
        for rule in self._rules:
            drawn = draw_rule(rule, style, self._rule_x, y, self._rule_width)
            self._drawn_rules.append(drawn)
            y = drawn.frame.bottom + style.gap
            if y > style.page_height:
                return False
        return True

    def _measure(self) -> bool:
        """Find how high the page gets; return whether it fits."""
        style = self._style
        columns: list[Sequence[DrawnRule | DrawnEnd]] = [self._drawn_rules, self._ends(), self._drawn_outputs()]
        self._content = max(map(self._column_height, columns))
        _, panels_end = panels(self._view, style, 0, with_curves=bool(self._curves))
        plot = self._plot_side() + 0.6 * style.size if self._curves else 0
        self._height = self._top + self._content + style.size + plot + panels_end + MARGIN / 2
        return self._height <= style.page_height

    def _ends(self, ys: Sequence[float] = ()) -> list[DrawnEnd]:
        return [
            draw_end(source, self._style, MARGIN, ys[at] if ys else 0, self._source_width)
            for at, source in enumerate(self._sources)
        ]

    def _drawn_outputs(self, ys: Sequence[float] = ()) -> list[DrawnEnd]:
        return [
            draw_output(output, devices, self._style, self._output_x, ys[at] if ys else 0, self._output_width)
            for at, (output, devices) in enumerate(self._outputs)
        ]

    def _column_height(self, drawn: Sequence[DrawnRule | DrawnEnd]) -> float:
        return sum(each.frame.height for each in drawn) + self._style.gap * max(len(drawn) - 1, 0)

    def _aligned(self, drawn: Sequence[DrawnEnd], wishes: Sequence[float | None]) -> list[float]:
        """Return where the boxes of an outer column begin; those without lines wish to be below the others."""
        low, high = self._top, self._top + self._content
        known = [high if wish is None else wish for wish in wishes]
        return tops([each.frame.height for each in drawn], known, self._style.gap, low, high)

    # -- the page -----------------------------------------------------------------------------------------------------

    def picture(self) -> Picture:
        """Return the finished page, cut below its content."""
        view, style = self._view, self._style
        entries: dict[str, list[float]] = {}
        arrivals: dict[str, list[float]] = {}
        for rule, drawn in zip(self._rules, self._drawn_rules, strict=True):
            for source in rule.sources:
                entries.setdefault(source, []).append(drawn.entry)
            for leaving in drawn.exits:
                for each in leaving.exits:
                    arrivals.setdefault(each.target, []).append(leaving.y)
        sources = self._ends(
            self._aligned(self._ends(), [_mean(entries.get(source.name, [])) for source in self._sources])
        )
        wishes = [
            _mean([y for end in (output.port, *devices) for y in arrivals.get(end.name, [])])
            for output, devices in self._outputs
        ]
        outputs = self._drawn_outputs(self._aligned(self._drawn_outputs(), wishes))
        shapes: list[Shape] = [
            fitted(MARGIN, MARGIN + style.size, view.title, 1.3 * style.size, style.page_width - 2 * MARGIN, bold=True)
        ]
        for part in (sources, self._drawn_rules, outputs):
            shapes += [shape for drawn in part for shape in drawn.shapes]
        shapes += lines_in(self._rules, self._drawn_rules, sources, self._rule_x - self._entry_stub, style)
        shapes += lines_out(self._drawn_rules, outputs, self._rule_x + self._rule_width + self._exit_stub, style)
        y = self._top + self._content + style.size
        for at, curve in enumerate(self._curves):
            side = self._plot_side()
            shapes += draw_plot(curve, Frame(MARGIN + at * side, y, side, side))
        if self._curves:
            y += self._plot_side() + 0.6 * style.size
        shapes += panels(view, style, y, with_curves=bool(self._curves))[0]
        zones = max((len(rule.zones) for rule in view.rules), default=0)
        return Picture(style.page_width, self._height, view.title, _summary(view), shapes, hatches(zones))

    def _plot_side(self) -> float:
        return min((self._style.page_width - 2 * MARGIN) / max(len(self._curves), 3), 560.0)


def _natural(ends: Sequence[EndView], style: Style) -> float:
    """Return how wide boxes are whose names and facts are not shortened."""
    names = [text_width(end.name, style.size, True) for end in ends]
    facts = [text_width(fact, style.small) for end in ends for fact in end.facts]
    return max([*names, *facts, 5 * style.size]) + 2.2 * style.pad


def _longest(texts: Sequence[str], style: Style) -> float:
    return max((text_width(text, style.small) for text in texts), default=0)


def _mean(values: Sequence[float]) -> float | None:
    return sum(values) / len(values) if values else None


def _sorted_exits(rule: RuleView, places: dict[str, int]) -> RuleView:
    """Return a rule whose exits stand in the order of their targets, within each zone."""
    zones = tuple(
        replace(zone, exits=tuple(sorted(zone.exits, key=lambda leaving: places[leaving.target])))
        for zone in rule.zones
    )
    return replace(rule, exits=tuple(sorted(rule.exits, key=lambda leaving: places[leaving.target])), zones=zones)


def _summary(view: RigView) -> str:
    devices = sum(len(output.devices) for output in view.outputs)
    counts = {"source": len(view.sources), "rule": len(view.rules), "output": len(view.outputs), "device": devices}
    return ", ".join(f"{amount} {thing}{'s' if amount != 1 else ''}" for thing, amount in counts.items()) + "."
