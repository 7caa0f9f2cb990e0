"""Switch states packed into one word: each switch has a field of it."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import Any

from rules.program.guards import ALWAYS, NO_CUBES, Guard, both, either

State = bool | str | int
"""What a switch can be at: on or off, one of its values, a number."""


@dataclass(frozen=True, slots=True)
class SwitchField:
    """One switch's place in the word: `states` in order of their codes, and the code it has at first.

    With `wrap` the first state follows the last; else it stops at the ends.
    """

    shift: int
    mask: int
    states: tuple[State, ...]
    first: int
    wrap: bool

    def cube(self, code: int) -> tuple[int, int]:
        """The cube for one state."""
        return self.mask, code << self.shift

    def advanced(self, code: int, by: int) -> int:
        """Return the code so many places on."""
        code += by
        return code % len(self.states) if self.wrap else max(0, min(len(self.states) - 1, code))


@dataclass(frozen=True, slots=True)
class SwitchStates:
    """What a switch can be at: `states` in order, the one it is at first, and whether it goes round at the ends."""

    states: tuple[State, ...]
    first: State
    wrap: bool = False


class Layout:
    """Which bits of the word belong to which switch."""

    def __init__(self, switches: Mapping[str, SwitchStates]) -> None:
        self.fields: dict[str, SwitchField] = {}
        self._opposites: dict[Guard, Guard] = {}  # each form of a rule asks for the same ones again
        self.initial = 0
        shift = 0
        for name, switch in switches.items():
            code = switch.states.index(switch.first)
            width = (len(switch.states) - 1).bit_length() or 1
            self.fields[name] = SwitchField(shift, ((1 << width) - 1) << shift, switch.states, code, switch.wrap)
            self.initial |= code << shift
            shift += width

    def __getstate__(self) -> dict[str, Any]:
        return {**vars(self), "_opposites": {}}  # what compiles asks for them, not what plays

    def state(self, word: int, name: str) -> State:
        """Return what a switch is at."""
        field = self.fields[name]
        return field.states[(word & field.mask) >> field.shift]

    def turned(self, word: int, name: str, state: State) -> int:
        """The word after a switch was turned to a state. Raises KeyError or ValueError for what doesn't exist."""
        field = self.fields[name]
        return word & ~field.mask | field.states.index(state) << field.shift

    def changed(self, word: int, name: str, change: Callable[[SwitchField, int], int]) -> int:
        """The word after `change` made another of a switch's code. Raises KeyError for a switch that doesn't exist."""
        field = self.fields[name]
        return word & ~field.mask | change(field, (word & field.mask) >> field.shift) << field.shift

    def translated(self, word: int, old: Layout) -> int:
        """A word of another layout, as far as its switches and states exist here; the rest as at the start."""
        new = self.initial
        for name, field in self.fields.items():
            if name in old.fields and (state := old.state(word, name)) in field.states:
                new = self.turned(new, name, state)
        return new

    def equals(self, name: str, state: State) -> Guard:
        """The guard that a switch is at a state."""
        field = self.fields[name]
        return (field.cube(field.states.index(state)),)

    def negated(self, guard: Guard) -> Guard:
        """The guard that holds exactly when another doesn't, for words that this layout can hold.

        Raises TooManyCubesError.
        """
        if guard not in self._opposites:
            self._opposites[guard] = self._opposite(guard)
        return self._opposites[guard]

    def _opposite(self, guard: Guard) -> Guard:
        met: Guard = ALWAYS
        for mask, value in guard:
            others: Guard = NO_CUBES
            for field in self.fields.values():
                if mask & field.mask:
                    for code in range(len(field.states)):
                        if field.cube(code)[1] != value & field.mask:
                            others = either(others, (field.cube(code),))
            met = both(met, others)
        return met
