"""Switches that nothing sets to a state that rules ask for, and switches that nothing asks for."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from typing import Any, Final

from rules.fields.when import When, written_state
from rules.findings.finding import Finding
from rules.program.switch_states import State
from rules.rulefile.locations import Location
from rules.rulefile.reading import Reading
from rules.rulefile.ruleset import RuleSet
from rules.rulefile.song_tables import SONG
from rules.rulefile.switch_tables import NumberSwitch, OnOffSwitch, ValueSwitch

_MOST_STATES: Final = 4


def switch_findings(reading: Reading) -> Iterator[Finding]:
    """All of these."""
    whens, numbers = _asked(reading.ruleset)
    for name, switch in reading.ruleset.switches.items():
        place = reading.switches[name]
        is_songs = name == SONG and bool(reading.ruleset.songs)
        asking = [term for when in whens for term in when.terms if term.switch == name]
        if not asking and name not in numbers:
            yield Finding(
                "unread switch",
                "doubt",
                place,
                "No rule, step or [[on_switch]] asks for this switch.",
                f'Ask for it with when = "{_condition(name, switch)}", or remove it.',
            )
        reached = _reached(switch)
        if len(reached) == 1 and (asking or name in numbers):
            yield Finding(
                "unset switch",
                "doubt",
                place,
                "No pad or pedal changes this switch, and rules ask for it.",
                "Write `next` under [set_list]. Without it only `pointsman song` changes it."
                if is_songs
                else f"Write `set` or `advance`. Without them only `pointsman switch {name}=...` changes it.",
            )
            continue
        missing = [term for term in asking if not any(map(term.holds, reached))]
        unset = [
            state
            for state in switch.states
            if state not in reached and (name in numbers or any(term.holds(state) for term in missing))
        ]
        if unset:
            way = (
                "a `next` or `previous` under [set_list], or a `set` in the song,"
                if is_songs
                else "a `set` or `advance`"
            )
            yield _unset(name, place, unset, way)


def _condition(name: str, switch: OnOffSwitch | ValueSwitch | NumberSwitch) -> str:
    """Return a condition that asks for a switch."""
    if isinstance(switch, OnOffSwitch):
        return name
    return f"{name} = {written_state(switch.states[-1])}"


def _unset(name: str, place: Location, states: Sequence[State], way: str) -> Finding:
    *others, last = [f'"{state}"' if isinstance(state, str) else str(state) for state in states[:_MOST_STATES]]
    listed = f"{', '.join(others)} or {last}" if others else last
    more = f" (and {len(states) - _MOST_STATES} more)" if len(states) > _MOST_STATES else ""
    return Finding(
        "unset switch",
        "doubt",
        place,
        f"No pad or pedal sets this switch to {listed}{more}, and rules ask for it.",
        f"Write {way} that does. Without it only `pointsman switch {name}={states[0]}` does so.",
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
