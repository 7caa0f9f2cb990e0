"""The shapes of `velocity`, against values worked out by hand (ruling 20)."""

from __future__ import annotations

from fractions import Fraction
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from rules.steps.rounding import rounded_quotient
from rules.steps.velocity import VelocityStep

CURVE = [[1, 20], [64, 80], [127, 120]]


@pytest.mark.parametrize(
    ("shape", "played", "sent"),
    [
        ({"points": CURVE}, 1, 20),
        ({"points": CURVE}, 64, 80),
        ({"points": CURVE}, 127, 120),
        ({"points": CURVE}, 2, 21),  # 20 + 60/63 = 20.95
        ({"points": CURVE}, 32, 50),  # 20 + 31 * 60/63 = 49.52
        ({"points": CURVE}, 33, 50),  # 20 + 32 * 60/63 = 50.48
        ({"points": CURVE}, 100, 103),  # 80 + 36 * 40/63 = 102.86
        ({"points": [[10, 30], [20, 40]]}, 1, 30),  # flat below
        ({"points": [[10, 30], [20, 40]]}, 127, 40),  # and above
        ({"points": [[64, 80]]}, 5, 80),
        ({"points": [[1, 1], [3, 2]]}, 2, 2),  # 1.5, half up
        ({"points": [[1, 2], [3, 1]]}, 2, 2),  # 1.5 on the way down as well
        ({"quieter": 1}, 127, 127),
        ({"quieter": 1}, 90, 64),  # 8100/127 = 63.78
        ({"quieter": 1}, 64, 32),  # 4096/127 = 32.25
        ({"quieter": 1}, 1, 1),  # 1/127, and no lower than 1
        ({"louder": 1}, 127, 127),
        ({"louder": 1}, 64, 90),  # sqrt(127 * 64) = 90.16
        ({"louder": 1}, 2, 16),  # sqrt(127 * 2) = 15.94
        ({"louder": 1}, 1, 11),  # sqrt(127) = 11.27
        ({"percent": 50}, 100, 50),
        ({"percent": 50}, 101, 51),  # 50.5, half up
        ({"percent": 50}, 1, 1),  # 0.5, half up
        ({"percent": 33.3}, 100, 33),
        ({"percent": 200}, 100, 127),
        ({"percent": 0}, 100, 1),
        ({"percent": 50, "add": 5}, 10, 10),  # percent before add
        ({"percent": 50, "add": 10}, 101, 61),  # 60.5, half up
        ({"add": -100}, 50, 1),
        ({"add": 100}, 50, 127),
        ({"add": -3}, 50, 47),
        ({"fixed": 64}, 1, 64),
        ({"fixed": 64}, 127, 64),
        ({"limit": (30, 100)}, 1, 30),
        ({"limit": (30, 100)}, 64, 64),
        ({"limit": (30, 100)}, 127, 100),
        ({"scale_to": (20, 127)}, 1, 20),
        ({"scale_to": (20, 127)}, 2, 21),  # 20 + 107/126 = 20.85
        ({"scale_to": (20, 127)}, 64, 74),  # 20 + 63 * 107/126 = 73.5, half up
        ({"scale_to": (20, 127)}, 127, 127),
        ({"scale_to": (64, 64)}, 9, 64),
    ],
)
def test_each_shape_sends_what_arithmetic_says(shape: dict[str, Any], played: int, sent: int) -> None:
    """Rounded half up and kept within 1-127."""
    assert VelocityStep.model_validate(shape).shape.of(played) == sent


AMOUNTS = st.floats(0.01, 10)
SHAPES = st.one_of(
    st.fixed_dictionaries({"quieter": AMOUNTS}),
    st.fixed_dictionaries({"louder": AMOUNTS}),
    st.fixed_dictionaries({"percent": st.floats(0, 1000)}),
    st.fixed_dictionaries({"percent": st.floats(0, 1000), "add": st.integers(-127, 127)}),
    st.tuples(st.integers(1, 127), st.integers(1, 127)).map(lambda ends: {"scale_to": (min(ends), max(ends))}),
    st.tuples(st.integers(1, 127), st.integers(1, 127)).map(lambda ends: {"limit": (min(ends), max(ends))}),
)


@given(SHAPES)
def test_shapes_never_turn_round_or_leave(shape: dict[str, Any]) -> None:
    """Playing harder never sounds quieter, no note vanishes, and 0, which is no velocity, stays 0."""
    step = VelocityStep.model_validate(shape)
    sent = [step.shape.of(played) for played in range(1, 128)]
    assert sent == sorted(sent)
    assert 1 <= sent[0] <= sent[-1] <= 127
    assert list(step.table[:128]) == [0, *sent]


@pytest.mark.parametrize(("number", "rounded"), [("1/2", 1), ("3/2", 2), ("-1/2", 0), ("-3/2", -1), ("7/5", 1)])
def test_halves_go_up(number: str, rounded: int) -> None:
    """Halves are rounded upwards, also below zero."""
    assert rounded_quotient(*Fraction(number).as_integer_ratio()) == rounded
