"""Checks of what all steps on one way do together: a port's, a rule's, a zone's and a device's."""

from __future__ import annotations

import math
from collections.abc import Iterable, Iterator, Sequence
from itertools import product
from typing import Final

from rules.errors import Problem
from rules.rulefile.draft import Draft, Placed, all_branches, staged
from rules.rulefile.locations import Location
from rules.rulefile.stages import Stage

MOST_COMBINATIONS: Final = 512
"""Every way in which the switches of a rule's steps can be set is worked out when the rules are read, which takes time
and memory: some milliseconds for each."""

MOST_COPIES: Final = 256
"""Notes that echo steps one behind the other may make of one: each of 64 copies can have 64 of its own."""

MOST_WAYS: Final = 20_000
"""Ways from a port through a rule or zone to a device or port, in all rules together: each is computed by itself."""

NO_SWITCHES: Final = frozenset[str]()


def check_ways(draft: Draft) -> Iterator[Problem]:
    """Yield the rule with which all rules together lead over too many ways."""
    ways = 0
    for branch in all_branches(draft):
        ways += len(branch.rule.source) * sum(len(outlet.to) for outlet in branch.branch.outlets)
        if ways > MOST_WAYS:
            text = f"the rules lead over more than {MOST_WAYS:,} ways from a port to a device: use fewer names"
            yield branch.place.problem(text)
            return


def check_combinations(draft: Draft) -> Iterator[Problem]:
    """Yield steps on one way that depend on more combinations of switches than can be computed beforehand."""
    for branch in all_branches(draft):
        names = [name for outlet in branch.branch.outlets for name in outlet.to]
        behind = {_switches_of(draft.devices[name].value.steps) for name in names if name in draft.devices}
        before = {_switches_of(draft.ports[name].value.steps) for name in branch.rule.source if name in draft.ports}
        inside = _switches_of(entry.value for entry in branch.stages)
        ways = product(before or {NO_SWITCHES}, behind or {NO_SWITCHES})
        most = max(_combinations(draft, first | inside | last) for first, last in ways)
        if most > MOST_COMBINATIONS:
            text = (
                f"its steps ask for switches in too many combinations ({most:,}, at most {MOST_COMBINATIONS}): "
                "divide the rule in two, or use fewer numbers"
            )
            yield branch.place.problem(text)


def _switches_of(stages: Iterable[Stage]) -> frozenset[str]:
    """The switches that some steps depend on."""
    found: set[str] = set()
    for stage in stages:
        found.update(term.switch for term in (stage.when.terms if stage.when is not None else ()))
        found.update(stage.step.number_switches.values())
    return frozenset(found)


def _combinations(draft: Draft, names: frozenset[str]) -> int:
    """In how many ways some switches can be set."""
    return math.prod(len(draft.switches[name].value.states) for name in names if name in draft.switches)


def check_copies(draft: Draft) -> Iterator[Problem]:
    """Yield steps with which echoes and chords one behind the other make too many notes of one."""
    refused = set()
    for branch in all_branches(draft):
        names = [name for outlet in branch.branch.outlets for name in outlet.to]
        before = _copying_of(draft, branch.rule.source)
        behind = _copying_of(draft, names)
        inside = tuple(_copying(branch.stages))
        for first, last in product(before, behind):
            found = _too_many_copies(draft, (*first, *inside, *last))
            if found is not None and found[0].place not in refused:
                refused.add(found[0].place)
                text = (
                    f"here one note becomes up to {found[1]:,} notes (at most {MOST_COPIES}): lower `times`, "
                    "or remove an echo or a chord on the way"
                )
                yield found[0].place.problem(text)


def _copying_of(draft: Draft, names: Iterable[str]) -> Sequence[tuple[Placed[Stage], ...]]:
    """Return the steps of ports or devices that copy notes: each sort once, most have none."""
    found: dict[tuple[Location, ...], tuple[Placed[Stage], ...]] = {}
    for name in names:
        entry = draft.devices.get(name) or draft.ports.get(name)
        steps = staged(entry.value.steps, entry.place) if entry is not None else ()
        copying = tuple(_copying(steps))
        found[tuple(step.place for step in copying)] = copying
    return list(found.values()) or [()]


def _copying(stages: Iterable[Placed[Stage]]) -> Iterator[Placed[Stage]]:
    return (entry for entry in stages if entry.value.step.most_notes > 1)


def _too_many_copies(draft: Draft, copying: Sequence[Placed[Stage]]) -> tuple[Placed[Stage], int] | None:
    """Return the step with which a note becomes too many, and how many; switches are set as that makes the most."""
    if math.prod(entry.value.step.most_notes for entry in copying) <= MOST_COPIES:
        return None
    names = {term.switch for entry in copying if entry.value.when is not None for term in entry.value.when.terms}
    switches: dict[str, tuple[bool | int | str, ...]] = {
        name: draft.switches[name].value.states for name in names if name in draft.switches
    }
    if math.prod(map(len, switches.values())) > MOST_COMBINATIONS:
        return None  # said by `check_combinations`
    worst: tuple[Placed[Stage], int] | None = None
    for states in product(*switches.values()):
        setting: dict[str, bool | int | str] = dict(zip(switches, states, strict=True))
        made = 1
        for entry in copying:
            if entry.value.when is None or entry.value.when.holds(setting):
                made *= entry.value.step.most_notes
                if made > MOST_COPIES and (worst is None or made > worst[1]):
                    worst = entry, made
    return worst
