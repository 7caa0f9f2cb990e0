"""Delays: added up exactly, turned into times once, and told in words."""

from __future__ import annotations

from fractions import Fraction

import pytest

from rules.timing.delays import Delay, in_words, steady_nanoseconds


def test_milliseconds_and_beats_are_kept_apart() -> None:
    """How long a beat is, is not known before the time has come."""
    third = Delay(ms=Fraction(1, 3), beats=Fraction(1, 3))
    assert third.times(3) == third + third + third == Delay(ms=Fraction(1), beats=Fraction(1))


@pytest.mark.parametrize(
    ("delay", "nanoseconds"),
    [
        (Delay(ms=Fraction(2)), 2_000_000),
        (Delay(beats=Fraction(1)), 500_000_000),
        (Delay(ms=Fraction(1), beats=Fraction(1, 2)), 251_000_000),
        (Delay(ms=Fraction(1, 2_000_000)), 1),  # half a nanosecond goes up
    ],
)
def test_at_a_steady_tempo_a_beat_always_takes_the_same_time(delay: Delay, nanoseconds: int) -> None:
    """At 120 beats a minute it takes half a second; what isn't whole is rounded half up."""
    assert steady_nanoseconds(120)(1_000, delay) == 1_000 + nanoseconds


@pytest.mark.parametrize(
    ("ms", "beats", "words"),
    [
        (Fraction(250), Fraction(0), "250 ms"),
        (Fraction(5, 2), Fraction(1), "2.5 ms and 1 beat"),
        (Fraction(0), Fraction(1, 2), "1/2 beats"),
        (Fraction(0), Fraction(0), "nothing"),
    ],
)
def test_a_delay_is_told_as_people_say_it(ms: Fraction, beats: Fraction, words: str) -> None:
    """Only what there is of it; beats as the fraction that was written."""
    assert in_words(Delay(ms, beats)) == words
