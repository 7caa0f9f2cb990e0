"""Velocity curves as plots with axes."""

from __future__ import annotations

import pytest

from rules.drawing.rig_reading import curves_in
from rules.drawing.svg import Frame, Path
from rules.drawing.velocity_plot import draw_curves, draw_plot
from tests.support.rig_views import PORTS, reading_of
from tests.support.svg_pictures import faults, outside, overlapping, texts


def rules_with(*shapes: str) -> str:
    """A rule for each shape of a velocity step."""
    return PORTS + "".join(
        f'[[rules]]\nname = "rule {number}, which has quite a long name"\nfrom = "keys"\n'
        f'match = {{ channel = 1 }}\nsteps = [{{ velocity = {{ {shape} }} }}]\nto = "organ"\n'
        for number, shape in enumerate(shapes)
    )


@pytest.mark.parametrize("amount", [1, 2, 3, 5, 12, 48, 96, 140])
def test_pages_of_curves(amount: int) -> None:
    """From one to more than a page holds: valid, at most 200 kB, no text over another; up to 48 fit on A4."""
    text = rules_with(*(f"add = {number - 127}" for number in range(amount)))
    picture = draw_curves("rig.toml", curves_in(reading_of(text)))
    svg = picture.svg()
    assert faults(svg) == []
    assert overlapping(svg) == []
    assert outside(svg) == []
    assert len(svg.encode()) <= 200_000
    assert picture.fits_a4 == (amount <= 48)
    assert len([box for box in texts(svg) if box.text == "velocity played \u2192"]) == min(amount, 96)


def curve_of(shape: str) -> list[tuple[float, float]]:
    """The points of a curve, as shares of its axes: velocity 1 is 0, 127 is 1."""
    (curve,) = curves_in(reading_of(rules_with(shape)))
    _, diagonal, _, line = (part.data for part in draw_plot(curve, Frame(0, 0, 500, 500)) if isinstance(part, Path))
    left, bottom = map(float, diagonal[1:].split("L")[0].split())
    right, top = map(float, diagonal[1:].split("L")[1].split())
    points = [map(float, point.split()) for point in line[1:].split("L")]
    return [(round((x - left) / (right - left), 2), round((bottom - y) / (bottom - top), 2)) for x, y in points]


def test_the_curve_is_the_table_of_the_step() -> None:
    """Straight pieces have a point at each end."""
    assert curve_of("fixed = 64") == [(0, 0.5), (1, 0.5)]
    assert curve_of('limit = "33..97"') == [(0, 0.25), (0.25, 0.25), (0.76, 0.76), (1, 0.76)]
