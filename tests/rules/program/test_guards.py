"""Guards against plain logic over every word."""

from __future__ import annotations

from hypothesis import given
from hypothesis import strategies as st

from rules.program.guards import ALWAYS, NO_CUBES, Guard, both, either, holds

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
