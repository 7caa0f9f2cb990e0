"""What enters each rule and zone, and what leaves it, as ways of messages.

Two sets of rules are compiled for that, in which each zone is a rule of its own: one with the steps and destinations of
the real rules, and one without, in which all that enters a rule arrives. Both have the ports, switches and conditions
of the real rules; so what `otherwise`, switches and the steps of a port take away is missing in both.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from functools import cached_property
from typing import Final, NamedTuple

from rules.behaviour.behaviour import STATUSES, Behaviour, Way
from rules.compiler.compiler import compile_routes
from rules.program.pipeline import Pipeline
from rules.rulefile.locations import Location
from rules.rulefile.port_tables import Port
from rules.rulefile.reading import Reading
from rules.rulefile.rule_tables import Outlet, Rule, Zone
from rules.rulefile.ruleset import RuleSet

_ENTRANCE: Final = "entrance to the rules"
"""A port that no rule file can name: names are shorter than that and have no such words."""


class SourcedWay(NamedTuple):
    """A way, and the number of the source that it begins at."""

    source: int
    way: Way


@dataclass(frozen=True, slots=True)
class Branch:
    """A rule, or one zone of it with its number from 0: where it is written, and where it leads.

    `label` is what ways have for it as the name of their rule.
    """

    label: str
    number: int
    rule: Rule
    rule_place: Location
    place: Location
    zone: Zone | None
    zone_number: int
    outlets: tuple[Outlet, ...]

    @property
    def name(self) -> str:
        """The name of the rule."""
        return self.rule.name or ""

    @property
    def zone_name(self) -> str:
        """The name of the zone, or its number from 1; empty where there is none."""
        if self.zone is None:
            return ""
        return self.zone.name or str(self.zone_number + 1)

    @property
    def destinations(self) -> list[str]:
        """The devices and ports that it leads to, each once."""
        return list(dict.fromkeys(name for outlet in self.outlets for name in outlet.to))


class BranchWays:
    """The ways of one reading. `entering` and `leaving` are by the label of a branch."""

    def __init__(self, reading: Reading) -> None:
        self.reading = reading
        self.ruleset = reading.ruleset
        self.branches = list(_branches(reading))
        self.leaving_behaviour = Behaviour(compile_routes(_leaving_rules(self.ruleset)))
        self._entering_behaviour = Behaviour(compile_routes(_entering_rules(self.ruleset)))

    @property
    def pipeline(self) -> Pipeline:
        """The compiled rules whose ways leave; its ports and sources have the numbers that ways have."""
        return self.leaving_behaviour.pipeline

    @cached_property
    def all_leaving(self) -> Sequence[SourcedWay]:
        """Every way to an output."""
        return list(_ways_of(self.leaving_behaviour))

    @cached_property
    def leaving(self) -> Mapping[str, Sequence[SourcedWay]]:
        """The ways to outputs, by branch; those of clock and transport, which no rule leads, are under ""."""
        return _by_label(self.all_leaving)

    @cached_property
    def entering(self) -> Mapping[str, Sequence[SourcedWay]]:
        """The ways into rules and zones, by branch; those into the whole of a rule with zones are under `whole`."""
        return _by_label(_ways_of(self._entering_behaviour))

    @cached_property
    def by_label(self) -> Mapping[str, Branch]:
        """The branches by their labels."""
        return {branch.label: branch for branch in self.branches}


def whole(number: int) -> str:
    """The label of a rule as a whole."""
    return f"{number}"


def _branches(reading: Reading) -> Iterator[Branch]:
    for number, (rule, place) in enumerate(zip(reading.ruleset.rules, reading.rules, strict=True)):
        for way in rule.branches():
            label = _label(number, way.number) if way.zone is not None else whole(number)
            inside = place if way.zone is None else place.inside("zones", way.number)
            yield Branch(label, number, rule, place, inside, way.zone, way.number, way.outlets)


def _label(number: int, zone: int) -> str:
    return f"{number}/{zone}"


def _leaving_rules(ruleset: RuleSet) -> RuleSet:
    """The rules with each zone as a rule of its own, under its label."""
    rules = []
    for number, rule in enumerate(ruleset.rules):
        rule = rule.model_copy(update={"name": whole(number), "chase": ()})
        if not rule.zones:
            rules.append(rule)
        for at, zone in enumerate(rule.zones):
            rules.append(rule.model_copy(update={"name": _label(number, at), "zones": (zone,)}))
    return replace(ruleset, rules=tuple(rules), on_switch=(), tests=())


def _entering_rules(ruleset: RuleSet) -> RuleSet:
    """The same without steps: everything goes to one port. A rule with zones is there as a whole as well.

    What is made up needs no validation, whose set-up takes longer than all rules together.
    """
    to = (Outlet.model_construct(to=(_ENTRANCE,)),)
    ports = {name: _without_clock(port) for name, port in ruleset.ports.items()}
    rules = []
    for number, rule in enumerate(ruleset.rules):
        bare = {"steps": (), "to": to, "chase": ()}
        rules.append(rule.model_copy(update={**bare, "name": whole(number), "zones": ()}))
        for at, zone in enumerate(rule.zones):
            entered = zone.model_copy(update={"steps": (), "to": None})
            rules.append(rule.model_copy(update={**bare, "name": _label(number, at), "zones": (entered,)}))
    return replace(
        ruleset,
        ports={**ports, _ENTRANCE: Port.model_construct(output=True, clock="none")},
        devices={},
        rules=tuple(rules),
        on_switch=(),
        tests=(),
    )


def _without_clock(port: Port) -> Port:
    return port.model_copy(update={"clock": "none"}) if port.can_send else port


def _ways_of(behaviour: Behaviour) -> Iterator[SourcedWay]:
    for source in range(len(behaviour.pipeline.sources)):
        for status in STATUSES:
            for way in behaviour.ways(source, status):
                yield SourcedWay(source, way)


def _by_label(ways: Iterator[SourcedWay] | Sequence[SourcedWay]) -> Mapping[str, Sequence[SourcedWay]]:
    found: dict[str, list[SourcedWay]] = {}
    for each in ways:
        found.setdefault(each.way.form.rule, []).append(each)
    return found
