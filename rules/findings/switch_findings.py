"""Switches that nothing sets to a state that rules ask for, and switches that nothing asks for."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence, Set
from shlex import quote
from typing import Any, Final, NamedTuple

from rules.fields.when import Term, When, written_state
from rules.findings.finding import Finding
from rules.program.switch_states import State
from rules.rulefile.locations import Location
from rules.rulefile.reading import Reading
from rules.rulefile.ruleset import RuleSet
from rules.rulefile.song_tables import SONG
from rules.rulefile.switch_tables import NumberSwitch, OnOffSwitch, ValueSwitch

_MOST_STATES: Final = 4


class _Switch(NamedTuple):
    """A switch, where it is written, and what asks for it: conditions, or a step that goes by its number."""

    name: str
    table: OnOffSwitch | ValueSwitch | NumberSwitch
    place: Location
    is_songs: bool
    terms: Sequence[Term]
    gives_number: bool

    @property
    def is_asked(self) -> bool:
        """Whether anything asks for it."""
        return bool(self.terms) or self.gives_number


def switch_findings(reading: Reading) -> Iterator[Finding]:
    """All of these, one a switch."""
    for switch in _switches(reading):
        reached = _reached(switch.table)
        if not switch.is_asked:
            yield _unread(switch)
        elif len(reached) == 1:
            yield _unchanged(switch)
        elif unset := _unset_states(switch, reached):
            yield _unset(switch, unset)


def _switches(reading: Reading) -> Iterator[_Switch]:
    ruleset = reading.ruleset
    whens, numbers = _asked(ruleset)
    for name, table in ruleset.switches.items():
        terms = [term for when in whens for term in when.terms if term.switch == name]
        is_songs = name == SONG and bool(ruleset.songs)
        yield _Switch(name, table, reading.switches[name], is_songs, terms, name in numbers)


def _unread(switch: _Switch) -> Finding:
    return Finding(
        "unread switch",
        "doubt",
        switch.place,
        "No rule, step or [[on_switch]] asks for this switch.",
        f'Ask for it with when = "{_condition(switch.name, switch.table)}", or remove it.',
    )


def _unchanged(switch: _Switch) -> Finding:
    return Finding(
        "unset switch",
        "doubt",
        switch.place,
        "No pad or pedal changes this switch, and rules ask for it.",
        "Write `next` under [set_list]. Without it only `pointsman song` changes it."
        if switch.is_songs
        else f"Write `set` or `advance`. Without them only `{_command(switch, '...')}` changes it.",
    )


def _command(switch: _Switch, state: State) -> str:
    """Return the command that changes a switch, as a shell takes it."""
    return f"pointsman switch {quote(f'{switch.name}={state}')}"


def _unset_states(switch: _Switch, reached: Set[State]) -> list[State]:
    """Return the states that something asks for, of those that nothing sets."""
    missing = [term for term in switch.terms if not any(map(term.holds, reached))]
    return [
        state
        for state in switch.table.states
        if state not in reached and (switch.gives_number or any(term.holds(state) for term in missing))
    ]


def _condition(name: str, switch: OnOffSwitch | ValueSwitch | NumberSwitch) -> str:
    """Return a condition that asks for a switch."""
    if isinstance(switch, OnOffSwitch):
        return name
    return f"{name} = {written_state(switch.states[-1])}"


def _unset(switch: _Switch, states: Sequence[State]) -> Finding:
    *others, last = [f'"{state}"' if isinstance(state, str) else str(state) for state in states[:_MOST_STATES]]
    listed = f"{', '.join(others)} or {last}" if others else last
    more = f" (and {len(states) - _MOST_STATES} more)" if len(states) > _MOST_STATES else ""
    way = (
        "a `next` or `previous` under [set_list], or a `set` in the song,"
        if switch.is_songs
        else "a `set` or `advance`"
    )
    return Finding(
        "unset switch",
        "doubt",
        switch.place,
        f"No pad or pedal sets this switch to {listed}{more}, and rules ask for it.",
        f"Write {way} that does. Without it only `{_command(switch, states[0])}` does so.",
    )


def _reached(switch: OnOffSwitch | ValueSwitch | NumberSwitch) -> set[State]:
    """The states that a switch can have, from its first one on."""
    if isinstance(switch, OnOffSwitch):
        return {False, True}
    states: list[State] = list(switch.states)
    reached: set[State] = {switch.first, *(each.value for each in switch.set)}
    waiting = list(reached)
    while waiting:
        at = states.index(waiting.pop())
        for advance in switch.advance:
            to = at + advance.by
            to = to % len(states) if switch.wrap else max(0, min(len(states) - 1, to))
            if states[to] not in reached:
                reached.add(states[to])
                waiting.append(states[to])
    return reached


def _asked(ruleset: RuleSet) -> tuple[list[When], set[str]]:
    """Every condition on switches, and the switches whose numbers a step goes by."""
    zones = [zone for rule in ruleset.rules for zone in rule.zones]
    parts: list[Any] = [*ruleset.ports.values(), *ruleset.devices.values(), *ruleset.rules, *zones]
    stages = [stage for part in parts for stage in part.steps]
    conditional: Iterable[Any] = (*ruleset.rules, *zones, *stages, *ruleset.on_switch)
    whens = [part.when for part in conditional if part.when is not None]
    return whens, {name for stage in stages for name in stage.step.number_switches.values()}
