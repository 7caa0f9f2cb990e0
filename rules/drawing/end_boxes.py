"""The boxes at both ends of a rig: sources, and outputs with their devices."""

from __future__ import annotations

from dataclasses import dataclass

from rules.drawing.style import Detail, Style
from rules.drawing.svg import INK, PAPER, Box, Frame, Shape
from rules.drawing.view import EndView, OutputView
from rules.drawing.writing import BoxWriter


@dataclass(frozen=True, slots=True)
class DrawnEnd:
    """A source or output in its place; `targets` are the frames that lines lead to, by name."""

    shapes: list[Shape]
    frame: Frame
    targets: dict[str, Frame]


def draw_end(end: EndView, style: Style, x: float, y: float, width: float, *, fill: str = PAPER) -> DrawnEnd:
    """Return the box of a source or a device with its upper left corner at (x, y)."""
    writer = BoxWriter(x + style.pad, y, width - 2 * style.pad, style)
    _write(end, writer)
    frame = Frame(x, y, width, writer.y + style.pad - y)
    tip = "\n".join((end.name, *end.facts))
    return DrawnEnd(
        [Box(frame, fill=fill, stroke_width=4, radius=style.pad, tip=tip), *writer.shapes], frame, {end.name: frame}
    )


def draw_output(output: OutputView, style: Style, x: float, y: float, width: float) -> DrawnEnd:
    """Return an output port as a frame around its devices."""
    writer = BoxWriter(x + style.pad, y, width - 2 * style.pad, style)
    _write(output.port, writer)
    head = Frame(x, y, width, writer.y + 0.5 * style.pad - y)
    shapes: list[Shape] = [*writer.shapes]
    targets = {output.port.name: head}
    bottom = head.bottom
    for device in output.devices:
        drawn = draw_end(device, style, x + 1.5 * style.pad, bottom + style.pad, width - 2.5 * style.pad)
        shapes += drawn.shapes
        targets |= drawn.targets
        bottom = drawn.frame.bottom
    frame = Frame(x, y, width, bottom + style.pad - y)
    tip = "\n".join((output.port.name, *output.port.facts))
    outline = Box(frame, fill="#ededed", stroke=INK, stroke_width=3, radius=style.pad, tip=tip)
    return DrawnEnd([outline, *shapes], frame, targets)


def _write(end: EndView, writer: BoxWriter) -> None:
    writer.head_of_end(end.name, end.marks)
    match writer.style.detail:
        case Detail.FULL:
            writer.lines(end.facts, most=2)
        case Detail.SHORT:
            writer.lines(["; ".join(end.facts)] if end.facts else [], most=3)
        case _:
            writer.lines(["; ".join(end.facts)] if end.facts else [], most=2)
