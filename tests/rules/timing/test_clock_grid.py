"""The grid of clock messages: exact at any tempo, and in phase when it changes."""

from __future__ import annotations

from fractions import Fraction

from hypothesis import given
from hypothesis import strategies as st

from rules.timing.clock_grid import ClockGrid

MINUTE = 60_000_000_000


def beat_of(bpm: float) -> Fraction:
    """How long a quarter note takes (ns)."""
    return Fraction(MINUTE) / Fraction(str(bpm))


@given(st.decimals(10, 1000, places=2).map(float), st.integers(0, 1 << 60), st.integers(1, 5_000))
def test_no_rounding_adds_up(bpm: float, first: int, number: int) -> None:
    """Each clock message is within half a nanosecond of its place, however many came before."""
    grid = ClockGrid(beat_of(bpm), first)
    for _ in range(number):
        grid.step()
    assert abs(grid.due - (first + number * beat_of(bpm) / 24)) <= Fraction(1, 2)


def test_a_change_keeps_the_phase() -> None:
    """A third of the way to the next clock message is a third of the way at the new tempo."""
    grid = ClockGrid(Fraction(24_000), 0)
    grid.step()
    grid.change(Fraction(48_000), 250)
    assert grid.due == 250 + 1_500
    grid.step()
    assert grid.due == 1_750 + 2_000
    grid.change(Fraction(48_000), 2_000)
    assert grid.due == 3_750


def test_a_change_when_one_is_due() -> None:
    """It goes out, and the new tempo counts from there."""
    grid = ClockGrid(Fraction(24_000), 500)
    grid.change(Fraction(48_000), 500)
    assert grid.due == 500
    grid.step()
    assert grid.due == 2_500


def test_the_first_one_stays_where_it_is() -> None:
    """Nothing has come before it that a tempo could be in phase with."""
    grid = ClockGrid(Fraction(24_000), 500)
    grid.change(Fraction(48_000), 100)
    assert grid.due == 500
    grid.step()
    assert grid.due == 2_500


def test_the_place_of_another_clock_keeps_its_phase() -> None:
    """Its last clock message came 400 ns ago, the next one was to come in 600: at half the tempo it takes 1,200."""
    grid = ClockGrid(Fraction(24_000), 0)
    grid.go_on(Fraction(1_000))
    grid.change(Fraction(48_000), 400)
    assert grid.due == 1_600


@given(st.lists(st.tuples(st.decimals(10, 1000, places=3), st.integers(0, 40)), min_size=1, max_size=200))
def test_changes_lose_nothing(changes: list[tuple[float, int]]) -> None:
    """However often the tempo changes: the place is that of the exact sum, to a thousandth of a nanosecond."""
    grid = ClockGrid(beat_of(120), 0)
    exact, interval = Fraction(0), beat_of(120) / 24
    now = 0
    for bpm, steps in changes:
        for _ in range(steps):
            grid.step()
            exact += interval
        now = max(now, int(exact - interval) + 1)
        new = Fraction(MINUTE) / Fraction(bpm) / 24
        grid.change(new * 24, now)
        if new != interval:
            exact = now + max(Fraction(0), exact - now) * new / interval
        interval = new
    assert abs(grid.due - exact) < Fraction(501, 1_000)


def test_what_was_missed_is_left_out() -> None:
    """The next one is on the grid, at or after the time."""
    grid = ClockGrid(Fraction(24_000), 500)
    grid.skip_to(400)
    assert grid.due == 500
    grid.skip_to(10_501)
    assert grid.due == 11_500
    grid.skip_to(11_500)
    assert grid.due == 11_500
