"""Guards: conditions on a word of switch states.

A guard is an OR of cubes; a cube `(mask, value)` holds when `word & mask == value`.
"""

from __future__ import annotations

from typing import Final

Guard = tuple[tuple[int, int], ...]
ALWAYS: Final[Guard] = ((0, 0),)
"""Holds whatever the switches are at."""
NO_CUBES: Final[Guard] = ()
"""Holds for no states: where an OR begins."""


def holds(guard: Guard, word: int) -> bool:
    """Return whether a guard holds for a word of switch states."""
    return any(word & mask == value for mask, value in guard)


def either(first: Guard, second: Guard) -> Guard:
    """The guard that holds when one of two does."""
    cubes: list[tuple[int, int]] = []
    for mask, value in (*first, *second):
        if any(mask & m == m and value & m == v for m, v in cubes):
            continue
        cubes = [(m, v) for m, v in cubes if not (m & mask == mask and v & mask == value)]
        cubes.append((mask, value))
    return tuple(cubes)


def both(first: Guard, second: Guard) -> Guard:
    """The guard that holds when two do."""
    if first == ALWAYS:
        return second
    if second == ALWAYS:
        return first
    met: Guard = NO_CUBES
    for m1, v1 in first:
        for m2, v2 in second:
            if v1 & m2 == v2 & m1:
                met = either(met, ((m1 | m2, v1 | v2),))
    return met
