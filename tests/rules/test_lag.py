"""How late messages are."""

from __future__ import annotations

from fractions import Fraction

from rules.lag import NO_LAG
from rules.tempo import Delay, steady_nanoseconds

LATER = steady_nanoseconds(120)
THIRD = Delay(beats=Fraction(1, 3))


def test_no_lag_is_now() -> None:
    """What isn't delayed is due when it comes."""
    assert NO_LAG.due(17, LATER) == 17


def test_delays_add_up_before_they_are_rounded() -> None:
    """Three thirds of a beat are one beat, to the nanosecond (ruling 29)."""
    assert NO_LAG.plus(THIRD).plus(THIRD).plus(THIRD).due(0, LATER) == 500_000_000


def test_time_that_a_message_was_held_comes_on_top() -> None:
    """What had to wait for an earlier one keeps that wait through later delays."""
    assert NO_LAG.held(5).plus(Delay(ms=Fraction(1))).due(10, LATER) == 1_000_015


def test_queues_learn_the_latest_time() -> None:
    """A message tells every queue that it stands in when it goes out, by channel; earlier times change nothing."""
    first: dict[int, int] = {}
    second = {3: 90}
    lag = NO_LAG.through(first, 3).through(second, 3)
    lag.note_due(50)
    assert (first, second) == ({3: 50}, {3: 90})
    lag.note_due(100)
    assert (first, second) == ({3: 100}, {3: 100})
