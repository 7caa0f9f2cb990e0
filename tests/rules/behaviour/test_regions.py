"""Regions of messages, switch states and memories: sets of whatever size, at the price of a few gates."""

from __future__ import annotations

from itertools import product

from hypothesis import given
from hypothesis import strategies as st

from rules.behaviour.regions import Dimension, Region, apart, given_of, subtracted
from rules.program.byte_tables import ALL

SONG = Dimension("switch", "song", 3)
UP = Dimension("switch", "up", 2)
BEFORE = Dimension("memory", "send")
POINTS = list(product((0, 1, 2), (0, 1), range(3), range(2)))
"""Two data bytes, and the states of both switches."""


@st.composite
def regions(draw: st.DrawFn) -> Region:
    """A region about few data bytes."""
    asked = {SONG: draw(st.integers(1, 7)), UP: draw(st.integers(1, 3))}
    return Region(draw(st.integers(1, 7)), draw(st.integers(1, 3)), given_of(asked))


def has(region: Region, point: tuple[int, int, int, int]) -> bool:
    """Whether a region has a message and states."""
    first, second, song, up = point
    gates = dict(region.given)
    return bool(
        region.firsts >> first & region.seconds >> second & gates.get(SONG, 7) >> song & gates.get(UP, 3) >> up & 1
    )


@given(regions(), regions())
def test_regions_meet_in_what_both_have(one: Region, other: Region) -> None:
    """Message by message, state by state."""
    shared = one.meet(other)
    for point in POINTS:
        assert (shared is not None and has(shared, point)) == (has(one, point) and has(other, point))


@given(regions(), st.lists(regions(), max_size=4))
def test_what_is_left_of_a_region(one: Region, others: list[Region]) -> None:
    """Each message is in one piece of what is left, or in what was taken away."""
    left = subtracted([one], others)
    for point in POINTS:
        pieces = sum(has(piece, point) for piece in left)
        assert pieces == (has(one, point) and not any(has(other, point) for other in others))


@given(st.lists(regions(), max_size=5))
def test_regions_taken_apart(some: list[Region]) -> None:
    """They are the same set, and each message is in one of them."""
    found = apart(some)
    for point in POINTS:
        assert sum(has(region, point) for region in found) == any(has(region, point) for region in some)


def test_what_is_asked_of_memory_can_be_left_out() -> None:
    """What stays are the messages and switch states for which it holds with some memory."""
    region = Region(ALL, 1, given_of({SONG: 1, BEFORE: 5}))
    assert region.remembers
    assert region.for_any_memory == Region(ALL, 1, ((SONG, 1),))
    assert not region.for_any_memory.remembers


def test_a_whole_gate_asks_for_nothing() -> None:
    """Regions are equal where they hold for the same."""
    assert Region(given=given_of({SONG: 7})) == Region()
