"""Checks of what is asked of switches: that they exist, and can be what is asked for."""

from __future__ import annotations

from collections.abc import Iterable, Iterator

from rules.errors import Problem
from rules.fields.table_model import shown
from rules.fields.when import Term, When, number_span, written_value
from rules.midi.suggestions import nearest
from rules.rulefile.draft import AnySwitch, Draft, Placed
from rules.rulefile.locations import Location
from rules.rulefile.references import switch_fault
from rules.rulefile.stages import Stage
from rules.rulefile.switch_tables import NumberSwitch, OnOffSwitch


def check_when(draft: Draft, when: When | None, place: Location) -> Iterator[Problem]:
    """Each switch that a condition asks for exists and can be what is asked for."""
    for term in when.terms if when is not None else ():
        fault = switch_fault(draft, term.switch)
        if not fault and term.switch in draft.switches:
            fault = _term_fault(draft.switches[term.switch].value, term)
        if fault:
            yield place.problem(fault)


def _term_fault(switch: AnySwitch, term: Term) -> str:
    name = term.switch
    if isinstance(switch, OnOffSwitch):
        if term.value in (None, "on", "off"):
            return ""
        return f'"{name}" is on or off: write "{name}" or "not {name}"'
    if isinstance(switch, NumberSwitch):
        return _number_fault(name, *switch.numbers, term.value)
    if term.value is None:
        return f'"{name}" isn\'t on or off: write one of its values, as in `{name} = {written_value(switch.values[0])}`'
    if term.value in switch.values:
        return ""
    known = ", ".join(switch.values)
    return f'"{term.value}" isn\'t a value of "{name}": its values are {known}{nearest(term.value, switch.values)}'


def _number_fault(name: str, low: int, high: int, value: str | None) -> str:
    span = number_span(value) if value is not None else None
    if span is None:
        return f'"{name}" is a number from {low} to {high}: write "{name} = {high}" or a range such as "{name} = 0.."'
    first, last = (low if span[0] is None else span[0]), (high if span[1] is None else span[1])
    if first > last:
        return f'the range "{value}" is empty: write the lower end first'
    if not low <= first <= last <= high:
        return f'"{value}" is outside the numbers of "{name}": write {low} to {high}'
    return ""


def check_number_switches(draft: Draft, stages: Iterable[Placed[Stage]]) -> Iterator[Problem]:
    """A step that goes by a switch, as `transpose` may, needs one that counts."""
    for entry in stages:
        step = entry.value.step
        for key, name in step.number_switches.items():
            fault = switch_fault(draft, name)
            if not fault and name in draft.switches and not isinstance(draft.switches[name].value, NumberSwitch):
                fault = f'the switch "{name}" has no numbers: {step.key} by one with `numbers = "-6..6"`'
            if fault:
                yield entry.place.inside(step.key, key).problem(fault)


def check_states(draft: Draft) -> Iterator[Problem]:
    """A switch starts with, and is set to, what it can be."""
    for name, entry in draft.switches.items():
        switch = entry.value
        if isinstance(switch, OnOffSwitch):
            continue
        if switch.initial is not None and (fault := state_fault(draft, name, switch.initial)):
            yield entry.place.inside("initial").problem(fault)
        for number, trigger in enumerate(switch.set):
            if fault := state_fault(draft, name, trigger.value):
                yield entry.place.inside("set", number, "value").problem(fault)


def state_fault(draft: Draft, name: str, state: bool | int | str) -> str:
    """Return why a switch can't be set to a state; empty when it can."""
    fault = switch_fault(draft, name)
    if fault or name not in draft.switches:
        return fault
    switch = draft.switches[name].value
    if isinstance(switch, OnOffSwitch):
        return "" if isinstance(state, bool) else f"{shown(state)} isn't a state of this switch: write true or false"
    if isinstance(switch, NumberSwitch):
        low, high = switch.numbers
        is_number = isinstance(state, int) and not isinstance(state, bool)
        return (
            ""
            if is_number and state in range(low, high + 1)
            else f"{shown(state)} isn't a number of this switch: write a whole number from {low} to {high}"
        )
    if isinstance(state, str) and state in switch.values:
        return ""
    known = ", ".join(switch.values)
    return f"{shown(state)} isn't a value of this switch: its values are {known}{nearest(str(state), switch.values)}"
