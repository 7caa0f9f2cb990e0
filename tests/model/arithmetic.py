"""The sums of the steps, written out from the rulings and from nothing else."""

from __future__ import annotations

import math
from collections.abc import Sequence
from fractions import Fraction

from rules.steps.echo import EchoStep
from rules.steps.map import MapStep
from rules.steps.value_map import End
from rules.steps.velocity import VelocityStep


def half_up(number: Fraction | float) -> int:
    """The nearest whole number, halves upwards (ruling 20)."""
    return math.floor(number + Fraction(1, 2))


def moved_key(key: int, by: int, outside: str) -> int | None:
    """A transposed key: outside 0-127 dropped, or moved to the nearest octave inside (ruling 19)."""
    key += by
    if outside == "drop" and not 0 <= key <= 127:
        return None
    return octave_inside(key, 0, 127)


def octave_inside(key: int, low: int, high: int) -> int:
    """The nearest octave of a key that lies inside."""
    while key < low:
        key += 12
    while key > high:
        key -= 12
    return key


def shaped_velocity(step: VelocityStep, velocity: int) -> int:
    """What a velocity becomes: rounded half up, clamped to 1-127 (ruling 20)."""
    return max(1, min(127, half_up(_shape(step, velocity))))


def _shape(step: VelocityStep, velocity: int) -> Fraction | float:
    if step.points is not None:
        return _on_lines(step.points, velocity)
    if step.quieter is not None:
        return 127 * math.pow(velocity / 127, 1 + step.quieter)
    if step.louder is not None:
        return 127 * math.pow(velocity / 127, 1 / (1 + step.louder))
    if step.fixed is not None:
        return Fraction(step.fixed)
    if step.limit is not None:
        return Fraction(sorted((step.limit[0], velocity, step.limit[1]))[1])
    if step.scale_to is not None:
        return _between(velocity, (1, step.scale_to[0]), (127, step.scale_to[1]))
    percent = Fraction(str(100 if step.percent is None else step.percent))
    return velocity * percent / 100 + (step.add or 0)


def _on_lines(points: Sequence[Sequence[int]], velocity: int) -> Fraction:
    """Straight lines between the points, flat outside."""
    below = [point for point in points if point[0] <= velocity]
    above = [point for point in points if point[0] >= velocity]
    if not below:
        return Fraction(points[0][1])
    if not above:
        return Fraction(points[-1][1])
    return _between(velocity, (below[-1][0], below[-1][1]), (above[0][0], above[0][1]))


def _between(value: int, start: tuple[int, int], end: tuple[int, int]) -> Fraction:
    """On the straight line through two points."""
    if start[0] == end[0]:
        return Fraction(start[1])
    return start[1] + Fraction((value - start[0]) * (end[1] - start[1]), end[0] - start[0])


def echo_copies(step: EchoStep, key: int, velocity: int) -> list[tuple[int, int, int]]:
    """The copies of a note as number, key, velocity: each from the note itself; too soft or outside ends them."""
    copies: list[tuple[int, int, int]] = []
    for number in range(1, step.times + 1):
        quieter = half_up(velocity * (Fraction(100 - step.decay, 100) ** number))
        key_then = key + number * step.transpose
        if quieter < 1 or not 0 <= key_then <= 127:
            return copies
        copies.append((number, key_then, quieter))
    return copies


def mapped_value(step: MapStep, value: int) -> int:
    """What goes out of a `map` for a value that came in. The middle of a bend stays the middle (ruling 21)."""
    assert step.source is not None
    assert step.to is not None
    low, high = step.inside or _whole(step, step.source)
    first, last = step.out or _whole(step, step.to)
    value = max(low, min(high, value))
    if "pitch-bend" in (step.source.kind, step.to.kind):
        middle_in = 0 if step.source.kind == "pitch-bend" else (low + high + 1) // 2
        middle_out = 0 if step.to.kind == "pitch-bend" else (first + last + 1) // 2
        if low < middle_in < high and min(first, last) < middle_out < max(first, last):
            if value <= middle_in:
                return half_up(_between(value, (low, first), (middle_in, middle_out)))
            return half_up(_between(value, (middle_in, middle_out), (high, last)))
    return half_up(_between(value, (low, first), (high, last)))


def _whole(step: MapStep, end: End) -> tuple[int, int]:
    if end.is_wide(step.bits):
        return 0, 16383
    return (-8192, 8191) if end.kind == "pitch-bend" else (0, 127)
