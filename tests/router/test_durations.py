"""Lengths of time on a command line."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from router.durations import in_words, parse_duration


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
    with pytest.raises(ValueError, match="write it like 90s, 5m or 1h30m"):
        parse_duration(text)


@given(st.integers(1, 7 * 24 * 3600))
def test_what_is_written_is_read_again(seconds: int) -> None:
    """The form in which we say a length is one that we understand."""
    assert parse_duration(in_words(seconds)) == seconds
