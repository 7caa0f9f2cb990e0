"""Guards: conditions on a word of switch states.

A guard is an OR of cubes; a cube `(mask, value)` holds when `word & mask == value`.
"""

from __future__ import annotations

from collections.abc import Sequence
from functools import lru_cache
from typing import Final

from rules.errors import Problem, RuleFileError

Guard = tuple[tuple[int, int], ...]
ALWAYS: Final[Guard] = ((0, 0),)
"""Holds whatever the switches are at."""
NO_CUBES: Final[Guard] = ()
"""Holds for no states: where an OR begins."""

MOST_CUBES: Final = 2_048
"""How many cubes a guard may have. What excludes n pairs of switches needs 2 to the power of n."""


TOO_MANY: Final = (
    f"conditions on switches come to more than {MOST_CUBES:,} combinations of states: write fewer `or` in `when`, or "
    "let one switch with values decide"
)


class TooManyCubesError(RuleFileError):
    """A guard would have more cubes than it may, for a `condition` of the rule files, if that is known by now."""

    def __init__(
        self,
        problems: Sequence[Problem] = (),
        unworded: int = 0,
        *,
        place: str = "a rule",
        condition: object = None,
    ) -> None:
        super().__init__(problems or (Problem("rule files", 0, place, TOO_MANY),), unworded)
        self.condition = condition

    def asked_by(self, condition: object, place: str) -> TooManyCubesError:
        """Return the error to raise where it is known what asks for the guard: the first to know says it."""
        return self if self.condition is not None else TooManyCubesError(place=place, condition=condition)


def holds(guard: Guard, word: int) -> bool:
    """Return whether a guard holds for a word of switch states."""
    return any(word & mask == value for mask, value in guard)


def either(first: Guard, second: Guard) -> Guard:
    """The guard that holds when one of two does. Raises TooManyCubesError."""
    cubes: list[tuple[int, int]] = []
    for mask, value in (*first, *second):
        _add(cubes, mask, value)
    return tuple(cubes)


def _add(cubes: list[tuple[int, int]], mask: int, value: int) -> None:
    """Add a cube to those of a guard, unless one of them holds it, and drop those that it holds."""
    for m, v in cubes:
        if mask & m == m and value & m == v:
            return
    cubes[:] = [(m, v) for m, v in cubes if m & mask != mask or v & mask != value]
    cubes.append((mask, value))
    if len(cubes) > MOST_CUBES:
        raise TooManyCubesError


def _both(first: Guard, second: Guard) -> Guard:
    if first == ALWAYS:
        return second
    if second == ALWAYS:
        return first
    met: list[tuple[int, int]] = []
    for m1, v1 in first:
        for m2, v2 in second:
            if v1 & m2 == v2 & m1:
                _add(met, m1 | m2, v1 | v2)
    return tuple(met)


both: Final = lru_cache(maxsize=256)(_both)
"""The guard that holds when two do. Raises TooManyCubesError. Each form of a rule asks for the same ones again."""
