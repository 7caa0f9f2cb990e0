"""Switch states packed into one word: each switch has a field of it."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from rules.guards import ALWAYS, NO_CUBES, Guard, both, either
from rules.language.schema import NumberSwitch, OnOffSwitch, ValueSwitch
from rules.language.when import Term, When, number_span

State = bool | str | int
"""What a switch can be at: on or off, one of its values, a number."""


@dataclass(frozen=True, slots=True)
class Field:
    """One switch's place in the word: `states` in order of their codes, and the code it starts with."""

    shift: int
    mask: int
    states: tuple[State, ...]
    first: int
    round: bool

    def cube(self, code: int) -> tuple[int, int]:
        """The cube for one state."""
        return self.mask, code << self.shift


class Layout:
    """Which bits of the word belong to which switch."""

    def __init__(self, switches: Mapping[str, OnOffSwitch | ValueSwitch | NumberSwitch]) -> None:
        self.fields: dict[str, Field] = {}
        self.start = 0
        shift = 0
        for name, switch in switches.items():
            states, first = _states(switch)
            width = (len(states) - 1).bit_length() or 1
            mask = ((1 << width) - 1) << shift
            self.fields[name] = Field(shift, mask, states, states.index(first), isinstance(switch, ValueSwitch))
            self.start |= states.index(first) << shift
            shift += width

    def state(self, word: int, name: str) -> State:
        """What a switch is at."""
        field = self.fields[name]
        return field.states[(word & field.mask) >> field.shift]

    def turned(self, word: int, name: str, state: State) -> int:
        """The word after a switch was turned to a state. Raises KeyError or ValueError for what doesn't exist."""
        field = self.fields[name]
        return word & ~field.mask | field.states.index(state) << field.shift

    def stepped(self, word: int, name: str, by: int) -> int:
        """The word after a switch went on by so many: values go round, numbers stop at their ends."""
        field = self.fields[name]
        code = ((word & field.mask) >> field.shift) + by
        code = code % len(field.states) if field.round else max(0, min(len(field.states) - 1, code))
        return word & ~field.mask | code << field.shift

    def translated(self, word: int, old: Layout) -> int:
        """A word of another layout, as far as its switches and states exist here; the rest as at the start."""
        new = self.start
        for name, field in self.fields.items():
            if name in old.fields and (state := old.state(word, name)) in field.states:
                new = self.turned(new, name, state)
        return new

    def guard(self, when: When | None) -> Guard:
        """A condition of the rule file as a guard."""
        if when is None:
            return ALWAYS
        met: Guard = NO_CUBES
        for terms in when.alternatives:
            part = ALWAYS
            for term in terms:
                part = both(part, self._term(term))
            met = either(met, part)
        return met

    def _term(self, term: Term) -> Guard:
        field = self.fields[term.switch]
        wanted = [state for state in field.states if _is_meant(state, term.value)]
        codes = [code for code, state in enumerate(field.states) if (state in wanted) != term.negated]
        return tuple(field.cube(code) for code in codes)

    def equals(self, name: str, state: State) -> Guard:
        """The guard that a switch is at a state."""
        field = self.fields[name]
        return (field.cube(field.states.index(state)),)

    def negated(self, guard: Guard) -> Guard:
        """The guard that holds exactly when another doesn't, for words that this layout can hold."""
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


def _states(switch: OnOffSwitch | ValueSwitch | NumberSwitch) -> tuple[tuple[State, ...], State]:
    if isinstance(switch, OnOffSwitch):
        return (False, True), switch.start
    if isinstance(switch, ValueSwitch):
        return switch.values, switch.first
    low, high = switch.numbers
    return tuple(range(low, high + 1)), switch.first


def _is_meant(state: State, value: str | None) -> bool:
    """Whether a condition means this state: no value asks for on, numbers may be a range."""
    if value is None:
        return state is True
    if isinstance(state, bool):
        return value == ("on" if state else "off")
    if isinstance(state, int):
        low, high = number_span(value) or (1, 0)
        return (low is None or low <= state) and (high is None or state <= high)
    return state == value
