"""How clock messages are held against an ideal grid."""

from __future__ import annotations

import pytest

from endurance.clock_ticks import residuals, share

INTERVAL = 62_500 / 3


def test_a_constant_delay_is_taken_off() -> None:
    """What is left is how far each is from the middle (ms)."""
    times = [round(7_000 + number * INTERVAL) + (300 if number % 2 else -300) for number in range(100)]
    off, missing = residuals(times, INTERVAL)
    assert missing == 0
    assert {round(each, 2) for each in off} in ({0.0, 0.6}, {-0.3, 0.3}, {-0.6, 0.0})


def test_a_missing_message_moves_none_of_the_others() -> None:
    """It is counted."""
    times = [round(number * INTERVAL) for number in range(100) if number not in (20, 21, 50)]
    off, missing = residuals(times, INTERVAL)
    assert missing == 3
    assert max(map(abs, off)) < 0.01


@pytest.mark.parametrize(("part", "value"), [(0.5, 50), (0.99, 99), (1.0, 99)])
def test_a_share(part: float, value: int) -> None:
    """So many are not beyond."""
    assert share(list(range(100)), part) == value
