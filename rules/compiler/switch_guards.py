"""Switches and their conditions, as the rule file writes them, made into the layout and the guards of a pipeline."""

from __future__ import annotations

from collections.abc import Mapping

from rules.fields.when import Term, When, number_span
from rules.program.guards import ALWAYS, NO_CUBES, Guard, both, either
from rules.program.switch_states import Layout, State, SwitchStates
from rules.rulefile.switch_tables import NumberSwitch, OnOffSwitch, ValueSwitch


def layout_of(switches: Mapping[str, OnOffSwitch | ValueSwitch | NumberSwitch]) -> Layout:
    """The layout of a rule file's switches, in file order."""
    return Layout({name: _states(switch) for name, switch in switches.items()})


def guard_of(layout: Layout, when: When | None) -> Guard:
    """A condition of the rule file as a guard; no condition always holds."""
    if when is None:
        return ALWAYS
    met: Guard = NO_CUBES
    for terms in when.alternatives:
        part = ALWAYS
        for term in terms:
            part = both(part, _term(layout, term))
        met = either(met, part)
    return met


def _term(layout: Layout, term: Term) -> Guard:
    field = layout.fields[term.switch]
    wanted = [state for state in field.states if _is_meant(state, term.value)]
    codes = [code for code, state in enumerate(field.states) if (state in wanted) != term.negated]
    return tuple(field.cube(code) for code in codes)


def _states(switch: OnOffSwitch | ValueSwitch | NumberSwitch) -> SwitchStates:
    if isinstance(switch, OnOffSwitch):
        return SwitchStates((False, True), switch.initial)
    if isinstance(switch, ValueSwitch):
        return SwitchStates(switch.values, switch.first, round=True)
    low, high = switch.numbers
    return SwitchStates(tuple(range(low, high + 1)), switch.first)


def _is_meant(state: State, value: str | None) -> bool:
    """Return whether a condition means this state: no value asks for on, numbers may be a range."""
    if value is None:
        return state is True
    if isinstance(state, bool):
        return value == ("on" if state else "off")
    if isinstance(state, int):
        low, high = number_span(value) or (1, 0)
        return (low is None or low <= state) and (high is None or state <= high)
    return state == value
