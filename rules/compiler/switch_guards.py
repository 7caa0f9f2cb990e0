"""Switches and their conditions, as the rule file writes them, made into the layout and the guards of a pipeline."""

from __future__ import annotations

from collections.abc import Iterator, Mapping

from rules.errors import RuleFileError
from rules.fields.when import Term, When
from rules.program.guards import ALWAYS, NO_CUBES, TOO_MANY, Guard, TooManyCubesError, both, either
from rules.program.switch_states import Layout, SwitchStates
from rules.rulefile.locations import Location
from rules.rulefile.reading import Reading
from rules.rulefile.rule_tables import OnSwitch, Rule, Zone
from rules.rulefile.stages import Stage
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
    except TooManyCubesError as error:
        raise error.asked_by(when, words_of(when)) from None


def both_of(layout: Layout, guard: Guard, when: When | None) -> Guard:
    """The guard that another one and a condition hold. Raises TooManyCubesError."""
    try:
        return both(guard, guard_of(layout, when))
    except TooManyCubesError as error:
        raise error.asked_by(when, words_of(when)) from None


def words_of(when: When | None) -> str:
    """A condition as errors name it."""
    return f"when = '{when}'"


def placed(error: TooManyCubesError, reading: Reading) -> RuleFileError:
    """Return the error with file and line of the condition that asks for too much; as it is where none is known."""
    for when, place in _conditions(reading):
        if when is error.condition:
            return RuleFileError((place.inside("when").problem(TOO_MANY),))
    return error


def _conditions(reading: Reading) -> Iterator[tuple[When, Location]]:
    """Every `when` of the rule files, with the table that has it."""
    for table, place in _tables(reading):
        if table.when is not None:
            yield table.when, place


def _tables(reading: Reading) -> Iterator[tuple[Stage | Rule | Zone | OnSwitch, Location]]:
    ruleset = reading.ruleset
    for port, place in zip(ruleset.ports.values(), reading.ports.values(), strict=True):
        yield from _steps(port.steps, place)
    for device, place in zip(ruleset.devices.values(), reading.devices.values(), strict=True):
        yield from _steps(device.steps, place)
    for rule, place in zip(ruleset.rules, reading.rules, strict=True):
        yield rule, place
        yield from _steps(rule.steps, place)
        for number, zone in enumerate(rule.zones):
            inside = place.inside("zones", number)
            yield zone, inside
            yield from _steps(zone.steps, inside)
    yield from zip(ruleset.on_switch, reading.on_switch, strict=True)


def _steps(steps: tuple[Stage, ...], place: Location) -> Iterator[tuple[Stage, Location]]:
    return ((stage, place.inside("steps", number)) for number, stage in enumerate(steps))


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
    wrap = not isinstance(switch, OnOffSwitch) and switch.wrap
    return SwitchStates(switch.states, switch.first, wrap)
