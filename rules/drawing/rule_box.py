"""The box of one rule: its name, what it asks for, its steps, its split as a keyboard, and where its exits are."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

from rules.drawing.hatching import hatch
from rules.drawing.keyboard import Keyboard
from rules.drawing.style import Detail, Style
from rules.drawing.svg import GREY, INK, PAPER, Box, Frame, Shape, fitted
from rules.drawing.view import Exit, RuleView, ZoneView
from rules.drawing.writing import BoxWriter

_KEYBOARD_SHARE: Final = 0.45
_NAME_SHARE: Final = 0.45
"""How much of its box a name may take where what the rule does stands at its right."""


@dataclass(frozen=True, slots=True)
class Leaving:
    """A line that leaves a box at height `y`, and divides if several exits carry the same."""

    y: float
    exits: tuple[Exit, ...]

    @property
    def label(self) -> str:
        """The channels that the line carries."""
        return self.exits[0].label

    @property
    def sometimes(self) -> bool:
        """Whether it carries something only while switches allow it."""
        return self.exits[0].sometimes


@dataclass(frozen=True, slots=True)
class DrawnRule:
    """A rule box in its place: its shapes and frame, and the heights at which lines come and leave."""

    shapes: list[Shape]
    frame: Frame
    entry: float
    exits: list[Leaving]


def exit_step(style: Style) -> float:
    """Return how far lines that leave a box are apart, so that their labels fit between them."""
    return 1.32 * style.small


def draw_rule(rule: RuleView, style: Style, x: float, y: float, width: float) -> DrawnRule:
    """Return a rule box with its upper left corner at (x, y)."""
    writer = BoxWriter(x + style.pad, y, width - 2 * style.pad, style)
    words = _all_words(rule)
    beside = style.detail >= Detail.KEYS and words
    left, right = writer.head(rule.name, rule.marks, number=rule.number, most=_NAME_SHARE if beside else 1)
    exits: list[Leaving] = []
    if beside:
        begin = left + 0.6 * style.size
        text = fitted(begin, y + style.head, "; ".join(words), style.small, right - begin, fill=GREY)
        writer.shapes += [text] if text.text else []
    elif style.detail == Detail.SHORT:
        writer.lines(["; ".join(words)] if words else [], most=2)
    elif style.detail == Detail.FULL:
        writer.lines(words, most=2)
    if rule.zones and style.detail == Detail.STRIP:
        _strip(rule, writer)
        exits += _spread(_merged(rule.every_exit), y, style)
    elif rule.zones:
        exits += _zones(rule, writer)
    exits += _spread(rule.exits, y, style)
    bottom = max([writer.y, *(leaving.y for leaving in exits)]) + style.pad
    frame = Frame(x, y, width, bottom - y)
    tip = "\n".join([rule.name, *_all_words(rule), *(_zone_words(zone) for zone in rule.zones)])
    outline = Box(frame, fill=PAPER, stroke_width=4, radius=style.pad, tip=tip, dash="14 8" if rule.when else "")
    return DrawnRule([outline, *writer.shapes], frame, y + _line_height(style), exits)


def _line_height(style: Style) -> float:
    """How far below the top of a box its first line comes or leaves: room for a label above the line."""
    return style.head + 0.1 * style.size


def _all_words(rule: RuleView) -> list[str]:
    words = [rule.asks] if rule.asks else []
    words += [f"while {rule.when}"] if rule.when else []
    return [*words, *rule.steps]


def _zone_words(zone: ZoneView) -> str:
    parts = [f"{zone.name}: {zone.asks}" if zone.asks else zone.name]
    parts += [f"while {zone.when}"] if zone.when else []
    return "; ".join([*parts, *zone.steps])


def _spread(exits: Sequence[Exit], y: float, style: Style) -> list[Leaving]:
    return _lines_from(y + _line_height(style), exits, style)


def _lines_from(y: float, exits: Sequence[Exit], style: Style) -> list[Leaving]:
    """Return the lines of some exits, the first at height `y`; those that carry the same are one line."""
    found: dict[tuple[str, bool], list[Exit]] = {}
    for leaving in exits:
        found.setdefault((leaving.label, leaving.sometimes), []).append(leaving)
    return [Leaving(y + at * exit_step(style), tuple(same)) for at, same in enumerate(found.values())]


def _merged(exits: Sequence[Exit]) -> list[Exit]:
    """Each target once, with all labels of the lines that lead there."""
    found: dict[str, list[Exit]] = {}
    for leaving in exits:
        found.setdefault(leaving.target, []).append(leaving)
    return [
        Exit(target, ", ".join(dict.fromkeys(each.label for each in same)), all(each.sometimes for each in same))
        for target, same in found.items()
    ]


def _keyboard_of(rule: RuleView, writer: BoxWriter) -> Keyboard:
    ends = [key for zone in rule.zones for keys in zone.keys if keys != (0, 127) for key in keys if key not in (0, 127)]
    return Keyboard.showing(writer.x, _KEYBOARD_SHARE * writer.width, ends)


def _zones(rule: RuleView, writer: BoxWriter) -> list[Leaving]:
    """Draw the keyboard, and below it for each zone its keys, hatched, with what the zone does at their right."""
    style = writer.style
    keyboard = _keyboard_of(rule, writer)
    if style.detail <= Detail.KEYS:
        writer.y += 0.4 * style.size
        height = 1.9 * style.size
        writer.shapes += keyboard.draw(writer.y, height)
        label_size = 0.62 * style.size
        writer.y += height + 0.95 * label_size
        writer.shapes += keyboard.labels(writer.y, label_size, rule.naming)
        writer.y += 0.3 * label_size
    exits: list[Leaving] = []
    for number, zone in enumerate(rule.zones):
        exits += _zone(zone, number, keyboard, writer)
    return exits


def _zone(zone: ZoneView, number: int, keyboard: Keyboard, writer: BoxWriter) -> list[Leaving]:
    style = writer.style
    top = writer.y
    begin = keyboard.x + keyboard.width + 0.5 * style.size
    beside = BoxWriter(begin, top, writer.x + writer.width - begin, style)
    if style.detail == Detail.FULL:
        beside.lines([f"{zone.name}: {zone.asks}" if zone.asks else zone.name], fill=INK, most=2)
        beside.lines([f"while {zone.when}"] if zone.when else [])
        beside.lines(zone.steps, most=2)
    else:
        beside.lines([_zone_words(zone)], fill=INK, most=2 if style.detail == Detail.SHORT else 1)
    first = top + 0.98 * style.line
    exits = _lines_from(first, zone.exits, style)
    writer.y = max([beside.y, *(leaving.y + 0.1 * style.size for leaving in exits)]) + 0.15 * style.size
    band_height = min(writer.y - top - 0.3 * style.size, 1.1 * style.size)
    for keys in zone.keys:
        frame = keyboard.band(keys, top + 0.25 * style.size, band_height)
        writer.shapes.append(Box(frame, fill=hatch(number), stroke_width=3, tip=_zone_words(zone)))
    writer.shapes += beside.shapes
    return exits


def _strip(rule: RuleView, writer: BoxWriter) -> None:
    """Draw all zones in one strip as wide as the box, each in a lane of its own where they overlap."""
    style = writer.style
    ends = [key for zone in rule.zones for keys in zone.keys for key in keys if key not in (0, 127)]
    keyboard = Keyboard.showing(writer.x, writer.width, ends)
    height = 0.7 * style.size
    lane = height / len(rule.zones)
    for number, zone in enumerate(rule.zones):
        for keys in zone.keys:
            frame = keyboard.band(keys, writer.y + number * lane, lane)
            writer.shapes.append(Box(frame, fill=hatch(number), stroke_width=2, tip=_zone_words(zone)))
    writer.y += height
