"""Lengths of time, as people write and read them."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from router.text.durations import (
    as_musicians_do,
    exactly,
    in_words,
    parse_duration,
    to_a_hundredth,
    to_a_millisecond,
)


@pytest.mark.parametrize(
    ("text", "seconds"),
    [("90s", 90), ("5m", 300), ("1h", 3600), ("1h30m", 5400), ("1m30s", 90), ("45", 45), ("1.5m", 90), (" 2M ", 120)],
)
def test_lengths_are_read(text: str, seconds: float) -> None:
    """As people write them."""
    assert parse_duration(text) == seconds


@pytest.mark.parametrize("text", ["", " ", "m", "5x", "-5s", "0", "0s", "5m1h", "8000h", "five"])
def test_what_is_no_length_is_told(text: str) -> None:
    """With the form that is wanted."""
    with pytest.raises(ValueError, match="write it as in 90s, 5m or 1h30m"):
        parse_duration(text)


@given(st.integers(1, 7 * 24 * 3600))
def test_a_length_that_was_chosen_is_told_whole(seconds: int) -> None:
    """In words that are read as the same length where they are written without blanks and long units."""
    assert parse_duration(exactly(seconds).replace(" ", "").replace("min", "m")) == seconds


@pytest.mark.parametrize(
    ("seconds", "words"), [(3, "3 s"), (0.5, "0.5 s"), (90, "1 min 30 s"), (600, "10 min"), (5_400, "1 h 30 min")]
)
def test_a_length_that_was_chosen_has_units_and_no_zeros(seconds: float, words: str) -> None:
    """As people say it."""
    assert exactly(seconds) == words


@pytest.mark.parametrize(
    ("seconds", "words"),
    [(0, "0 s"), (59, "59 s"), (60, "1 min 0 s"), (3_599, "59 min 59 s"), (3_600, "1 h 0 min"), (90_000, "1 day 1 h")],
)
def test_long_times_are_told_roughly(seconds: int, words: str) -> None:
    """Two units are enough."""
    assert in_words(seconds) == words


def test_lengths_of_music_read_as_musicians_write_them() -> None:
    """Minutes and seconds; hours where there are any."""
    assert [as_musicians_do(seconds) for seconds in (0.4, 59.6, 247, 3753)] == ["0:00", "1:00", "4:07", "1:02:33"]


def test_short_times_have_two_decimals() -> None:
    """As the summary of a run tells them."""
    assert to_a_hundredth(1.234) == "1.23 s"


def test_moments_of_a_recording_are_told_to_the_millisecond() -> None:
    """In minutes, however many there are."""
    assert [to_a_millisecond(ms) for ms in (0, 62_350, 3_600_001)] == ["0:00.000", "1:02.350", "60:00.001"]
