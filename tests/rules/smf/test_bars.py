"""Bars and beats, as players count them."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from rules.smf.bars import BarMap, Beat, bar_map
from rules.smf.midi_file import read
from tests.support.smf_bytes import END, FORMAT_0, header, one_track, track


@pytest.mark.parametrize(("tick", "place"), [(0, (1, 1)), (95, (1, 1)), (96, (1, 2)), (383, (1, 4)), (384, (2, 1))])
def test_a_bar_has_four_quarters_where_nothing_else_is_said(tick: int, place: tuple[int, int]) -> None:
    """Both count from 1."""
    assert BarMap(96).beat_at(tick) == place


@pytest.mark.parametrize(("tick", "place"), [(0, (1, 1)), (47, (1, 1)), (48, (1, 2)), (287, (1, 6)), (288, (2, 1))])
def test_six_eighths(tick: int, place: tuple[int, int]) -> None:
    """A beat is the note that the time signature names."""
    assert BarMap(96, [(0, 6, 3)]).beat_at(tick) == place


@pytest.mark.parametrize(
    ("tick", "place"), [(383, (1, 4)), (384, (2, 1)), (671, (2, 3)), (672, (3, 1)), (800, (4, 1)), (1183, (4, 4))]
)
def test_time_signatures_may_change(tick: int, place: tuple[int, int]) -> None:
    """At a bar line the count goes on; within a bar a new one begins."""
    assert BarMap(96, [(800, 4, 2), (384, 3, 2)]).beat_at(tick) == place


def test_of_two_signatures_at_one_place_the_last_one_counts() -> None:
    """Some programs write a default first."""
    assert BarMap(96, [(0, 4, 2), (0, 3, 2)]).beat_at(3 * 96) == (2, 1)


@pytest.mark.parametrize(
    ("beat", "begin", "end"), [((1, 1), 0, 96), ((2, 3), 576, 672), ((3, 2), 768, 800), ((4, 1), 800, 896)]
)
def test_where_a_beat_begins_and_ends(beat: tuple[int, int], begin: int, end: int) -> None:
    """At the next one; a time signature within a beat ends it."""
    bars = BarMap(96, [(384, 3, 2), (800, 4, 2)])
    assert (bars.tick_of(Beat(*beat)), bars.end_of(Beat(*beat))) == (begin, end)


@pytest.mark.parametrize(("beat", "words"), [((0, 1), "bars count from 1"), ((1, 0), "beats count from 1")])
def test_bars_and_beats_count_from_one(beat: tuple[int, int], words: str) -> None:
    """There is no bar 0, however many beats a bar has."""
    with pytest.raises(ValueError, match=f"^{words}$"):
        BarMap(96).tick_of(Beat(*beat))


@pytest.mark.parametrize("beat", [(1, 5), (2, 4), (3, 3)])
def test_beats_that_are_not_there(beat: tuple[int, int]) -> None:
    """Neither are those that a new time signature cuts off."""
    with pytest.raises(ValueError, match="there is no beat"):
        BarMap(96, [(384, 3, 2), (800, 4, 2)]).tick_of(Beat(*beat))


@given(
    st.integers(1, 960),
    st.lists(st.tuples(st.integers(0, 5000), st.integers(1, 12), st.integers(0, 5)), max_size=4),
    st.integers(0, 8000),
)
def test_every_tick_is_within_its_beat(division: int, changes: list[tuple[int, int, int]], tick: int) -> None:
    """Whatever the signatures are."""
    bars = BarMap(division, changes)
    beat = bars.beat_at(tick)
    assert bars.tick_of(beat) <= tick < bars.end_of(beat)


def test_the_signatures_of_a_file() -> None:
    """The example of RP-001 is in 4/4; one without beats, or cut short, says nothing; frames have no bars."""
    bars = bar_map(read(FORMAT_0))
    assert bars is not None
    assert bars.beat_at(384) == (2, 1)
    odd = bar_map(read(one_track(f"00 FF 58 04 00 02 18 08 00 FF 58 01 03 {END}")))
    assert odd is not None
    assert odd.beat_at(383) == (1, 4)
    assert bar_map(read(header(1, midi_format=0, division=0xE250) + track(END))) is None
