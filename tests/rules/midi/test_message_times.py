"""Messages with times."""

from __future__ import annotations

from fractions import Fraction

import pytest

from rules.errors import NotationError
from rules.midi.message_times import split_time, times_in_order


@pytest.mark.parametrize(
    ("text", "found"),
    [
        ("at 200 ms program 4", (200, "program 4")),
        (" at 12.5 ms  start ", (Fraction(25, 2), "start")),
        ("at 0ms start", (0, "start")),
        ("program 4", (None, "program 4")),
        ("attack", (None, "attack")),
    ],
)
def test_a_time_stands_before_its_message(text: str, found: tuple[Fraction | None, str]) -> None:
    """In milliseconds, with or without decimals."""
    assert split_time(text) == found


@pytest.mark.parametrize(
    "text", ["at noon start", "at 200 start", "at -1 ms start", "at 200 ms", "at 12345678 ms start"]
)
def test_what_is_no_time(text: str) -> None:
    """The words show how one is written."""
    with pytest.raises(NotationError, match='write a time as in "at 12 ms note-on 4 C4 100"'):
        split_time(text)


def test_a_time_without_its_unit() -> None:
    """What is missing is named."""
    with pytest.raises(NotationError, match='"at 200 controller 1 sustain 127": the unit "ms" is missing: write'):
        split_time("at 200 controller 1 sustain 127")
    with pytest.raises(NotationError) as other:
        split_time("at noon start")
    assert "missing" not in str(other.value)


def test_a_message_without_a_time_follows_the_one_before() -> None:
    """The first goes out at once."""
    assert times_in_order([None, Fraction(20), None, Fraction(20), Fraction(21)]) == [0, 20, 20, 20, 21]
    assert times_in_order([]) == []


def test_times_never_go_back() -> None:
    """Both are named."""
    with pytest.raises(NotationError, match='"at 10 ms" comes after "at 20 ms": write messages in the order'):
        times_in_order([Fraction(20), None, Fraction(10)])
