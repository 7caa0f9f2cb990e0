"""What differs between two rule sets, in words for a person who has just saved a rule file."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from typing import Any, Final

from rules.rulefile.ruleset import RuleSet
from rules.rulefile.song_tables import SONG
from rules.rulefile.switch_tables import ValueSwitch

_MOST_NAMES: Final = 6
"""How many names one line shows: a rewritten file can change hundreds."""


def rule_changes(before: RuleSet, after: RuleSet) -> tuple[str, ...]:
    """One line for each kind of thing that differs, such as `rules: new "bass"; changed "keys"`; none where all is
    the same. A rule is known by its name, so one that was renamed is gone and new."""
    return tuple(_lines(before, after))


def _lines(before: RuleSet, after: RuleSet) -> Iterator[str]:
    yield from _named("ports", before.ports, after.ports)
    yield from _named("devices", before.devices, after.devices)
    yield from _named("switches", _own_switches(before), _own_switches(after))
    old, new = ({rule.name or "": rule for rule in ruleset.rules} for ruleset in (before, after))
    yield from _named("rules", old, new)
    if [name for name in old if name in new] != [name for name in new if name in old]:
        yield "rules: new order"
    old_songs, new_songs = ({song.name: song for song in ruleset.songs} for ruleset in (before, after))
    yield from _named("songs", old_songs, new_songs)
    if [name for name in old_songs if name in new_songs] != [name for name in new_songs if name in old_songs]:
        yield "songs: new order"
    if before.songs and after.songs and _ways(before) != _ways(after):
        yield "songs: other ways from one to the next"
    if _actions(before) != _actions(after):
        yield "on_switch: what switches send has changed"
    if before.bpm != after.bpm:
        yield f"clock: {before.bpm:g} BPM became {after.bpm:g} BPM"
    rest = {"bpm": None}
    if before.clock.model_copy(update=rest) != after.clock.model_copy(update=rest):
        yield "clock: other settings"
    for kind, old_ones, new_ones in (
        ("tests", before.tests, after.tests),
        ("promises", before.promises, after.promises),
    ):
        if old_ones != new_ones:
            now, then = len(new_ones), len(old_ones)
            yield f"{kind}: changed" + (f", now {now}, before {then}" if now != then else "")


def _own_switches(ruleset: RuleSet) -> dict[str, Any]:
    """The switches, without the one that songs make: what differs there is told of the songs."""
    return {name: switch for name, switch in ruleset.switches.items() if name != SONG or not ruleset.songs}


def _actions(ruleset: RuleSet) -> list[Any]:
    """What switches send and do, whatever is accepted of it."""
    return [entry.model_copy(update={"accept": {}}) for entry in ruleset.on_switch]


def _ways(ruleset: RuleSet) -> tuple[Any, ...]:
    """What goes on and back from song to song."""
    switch = ruleset.switches[SONG]
    return (switch.advance, switch.wrap) if isinstance(switch, ValueSwitch) else ()


def _named(kind: str, before: Mapping[str, Any], after: Mapping[str, Any]) -> Iterator[str]:
    """The line for one kind of thing that has names."""
    found = (
        ("new", [name for name in after if name not in before]),
        ("changed", [name for name, thing in after.items() if name in before and thing != before[name]]),
        ("gone", [name for name in before if name not in after]),
    )
    parts = [f"{word} {_listed(names)}" for word, names in found if names]
    if parts:
        yield f"{kind}: {'; '.join(parts)}"


def _listed(names: Sequence[str]) -> str:
    more = len(names) - _MOST_NAMES
    quoted = ", ".join(f'"{name}"' for name in names[: _MOST_NAMES if more > 1 else None])
    return f"{quoted} and {more} more" if more > 1 else quoted
