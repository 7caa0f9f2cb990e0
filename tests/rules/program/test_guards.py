"""Guards against plain logic over every word."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from rules.errors import RuleFileError
from rules.program.guards import ALWAYS, MOST_CUBES, NO_CUBES, Guard, TooManyCubesError, both, either, holds
from rules.program.switch_states import Layout, SwitchStates

WORDS = range(16)
CUBES = st.tuples(st.integers(0, 15), st.integers(0, 15)).map(lambda pair: (pair[0], pair[0] & pair[1]))
GUARDS = st.lists(CUBES, max_size=4).map(tuple)


@given(GUARDS, GUARDS)
def test_either_holds_when_one_of_two_holds(first: Guard, second: Guard) -> None:
    """For every word, `either` is the plain or."""
    joined = either(first, second)
    assert [holds(joined, word) for word in WORDS] == [holds(first, word) or holds(second, word) for word in WORDS]


@given(GUARDS, GUARDS)
def test_both_hold_when_each_holds(first: Guard, second: Guard) -> None:
    """For every word, `both` is the plain and."""
    joined = both(first, second)
    assert [holds(joined, word) for word in WORDS] == [holds(first, word) and holds(second, word) for word in WORDS]


@given(GUARDS)
def test_no_cube_stands_that_another_contains(guard: Guard) -> None:
    """A guard that was put together has no cube that says nothing new."""
    cubes = either(NO_CUBES, guard)
    for mask, value in cubes:
        assert not any(mask & m == m and value & m == v for m, v in cubes if (m, v) != (mask, value))


def test_the_ends_hold_always_and_never() -> None:
    """ALWAYS needs no switch, NO_CUBES none helps."""
    assert all(holds(ALWAYS, word) for word in WORDS)
    assert not any(holds(NO_CUBES, word) for word in WORDS)


def pairs(amount: int) -> Guard:
    """Any of so many pairs of switches, each of which has a bit."""
    return tuple((3 << 2 * number, 3 << 2 * number) for number in range(amount))


def test_a_guard_of_too_many_cubes_is_refused_in_words() -> None:
    """Two to the power of twelve are too many for what a player can mean, and for what is asked at every message."""
    layout = Layout({f"s{number}": SwitchStates((False, True), False) for number in range(24)})
    assert len(layout.negated(pairs(9))) == 2**9
    with pytest.raises(RuleFileError, match="more than 2,048 combinations of states: write fewer"):
        layout.negated(pairs(12))
    many = tuple((0xFFFF, number) for number in range(MOST_CUBES))
    assert len(either(NO_CUBES, many)) == MOST_CUBES
    with pytest.raises(TooManyCubesError):
        either(many, ((0xFFFF, MOST_CUBES),))


def test_an_opposite_grows_with_the_switches_that_are_asked_for() -> None:
    """However many alternatives ask for one switch, what is left are its other states."""
    layout = Layout({"song": SwitchStates(tuple(map(str, range(64))), "0")})
    some = tuple(layout.equals("song", str(number))[0] for number in range(60))
    assert len(layout.negated(some)) == 4
