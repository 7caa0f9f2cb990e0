"""Tap tempo: which taps count, and when they begin anew."""

from __future__ import annotations

from fractions import Fraction

import pytest

from rules.timing.tap_tempo import TapTempo

MS = 1_000_000


def tempos(*times_ms: int) -> list[int | None]:
    """How long a quarter note is (ms, rounded) after each tap."""
    taps = TapTempo()
    beats = [taps.tap(time * MS) for time in times_ms]
    return [None if beat is None else round(beat / MS) for beat in beats]


def test_two_taps_make_a_tempo() -> None:
    """The time between them is a quarter note, exactly."""
    taps = TapTempo()
    assert taps.tap(7) is None
    assert taps.tap(500_000_008) == 500_000_001


def test_more_taps_make_it_more_exact() -> None:
    """The mean of all intervals counts."""
    assert tempos(0, 490, 1_000, 1_512) == [None, 490, 500, 504]


def test_the_last_eight_taps_count() -> None:
    """A tempo that is tapped slower and slower is followed."""
    taps = TapTempo()
    times = [sum(500 + step for step in range(number)) * MS for number in range(20)]
    assert [taps.tap(time) for time in times][-1] == Fraction(times[19] - times[12], 7)


@pytest.mark.parametrize("late", [374, 627])
def test_an_outlier_begins_anew(late: int) -> None:
    """More than a quarter too early or too late: the tempo stays until the next tap."""
    assert tempos(0, 500, 1_000, 1_000 + late, 1_000 + late + 700) == [None, 500, 500, None, 700]


@pytest.mark.parametrize("late", [376, 624])
def test_within_a_quarter_it_goes_on(late: int) -> None:
    """Nobody taps exactly."""
    assert tempos(0, 500, 1_000, 1_000 + late)[3] == round((1_000 + late) / 3)


def test_a_long_pause_begins_anew() -> None:
    """Beyond 2 s, which is 30 BPM, also after one tap."""
    assert tempos(0, 2_000) == [None, 2_000]
    assert tempos(0, 2_001, 2_501) == [None, None, 500]


def test_a_bounce_is_ignored() -> None:
    """What comes within 0.2 s of a tap is none, and changes nothing."""
    assert tempos(0, 30, 500, 699, 1_000) == [None, None, 500, None, 500]
    assert tempos(0, 200) == [None, 200]
