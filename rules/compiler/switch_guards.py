"""Switches and their conditions, as the rule file writes them, made into the layout and the guards of a pipeline."""

from __future__ import annotations

from collections.abc import Mapping

from rules.fields.when import Term, When
from rules.program.guards import ALWAYS, NO_CUBES, Guard, TooManyCubesError, both, either
from rules.program.switch_states import Layout, SwitchStates
from rules.rulefile.switch_tables import NumberSwitch, OnOffSwitch, ValueSwitch


def layout_of(switches: Mapping[str, OnOffSwitch | ValueSwitch | NumberSwitch]) -> Layout:
    """The layout of a rule file's switches, in file order."""
    return Layout({name: _states(switch) for name, switch in switches.items()})


def guard_of(layout: Layout, when: When | None) -> Guard:
    """A condition of the rule file as a guard; no condition always holds. Raises TooManyCubesError."""
    if when is None:
        return ALWAYS
    try:
        return _guard(layout, when)
    except TooManyCubesError:
        raise TooManyCubesError(place=f"when = '{when}'") from None


def _guard(layout: Layout, when: When) -> Guard:
    met: Guard = NO_CUBES
    for terms in when.alternatives:
        part = ALWAYS
        for term in terms:
            part = both(part, _term(layout, term))
        met = either(met, part)
    return met


def _term(layout: Layout, term: Term) -> Guard:
    field = layout.fields[term.switch]
    return tuple(field.cube(code) for code, state in enumerate(field.states) if term.holds(state))


def _states(switch: OnOffSwitch | ValueSwitch | NumberSwitch) -> SwitchStates:
    return SwitchStates(switch.states, switch.first, round=isinstance(switch, ValueSwitch))
