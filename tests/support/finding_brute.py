"""Findings by brute force: every message by itself, in every state of the switches, through the slow model.

Nothing here knows of tables, ways or regions. Each zone is made a rule of its own, so that what arrives has its name.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Hashable, Iterator, Sequence
from dataclasses import dataclass, field, replace
from fractions import Fraction
from itertools import combinations
from typing import Any, NamedTuple

from rules.rulefile.rule_tables import Rule
from rules.rulefile.ruleset import RuleSet
from tests.model import facts
from tests.model.asking import fits, holds, rule_takes
from tests.model.chain import Flow, Moment
from tests.model.routing import Emission, Way
from tests.support.brute_force import BruteForce, Switches
from tests.support.brute_messages import all_switches, messages_of

PORTAMENTO_CONTROL = 84
NOTE_ON, CONTROLLER, PROGRAM = 0x90, 0xB0, 0xC0


class Labelled(NamedTuple):
    """Something that arrives: at which port, the message, how late, of which branch, and whether a step wrote it."""

    port: str
    message: bytes
    delay: Hashable
    label: str
    is_written: bool


@dataclass(frozen=True, slots=True)
class _NotingWay(Way):
    """Notes which rules and zones messages enter."""

    entered: set[str] = field(default_factory=set)

    def along(self, rule: Rule, branches: Any, flow: Flow, moment: Moment) -> list[Emission]:
        """Do as a way does, and note it."""
        if holds(rule.when, self.switches) and rule_takes(rule, flow.message):
            self.entered.add(_number(rule.name or ""))
            for zone in rule.zones:
                if holds(zone.when, self.switches) and fits(zone, flow.message):
                    self.entered.add(rule.name or "")
        return Way.along(self, rule, branches, flow, moment)


class _NotingBrute(BruteForce):
    """Says of what arrives from where it comes; `entered` has what the last messages entered."""

    entered: set[str]

    def way(self, switches: Switches) -> Way:
        """A way that notes what is entered."""
        return _NotingWay(self.ruleset, switches, self.entered)

    def _ends(self, way: Any, emission: Emission, *others: Any) -> Iterator[Any]:
        for end in super()._ends(way, emission, *others):
            if isinstance(end, Labelled):
                yield end
            else:
                yield Labelled(end.port, end.message, end.delay, emission.flow.rule, emission.flow.sent)


def _number(label: str) -> str:
    return label.split("/")[0]


def labelled(ruleset: RuleSet) -> RuleSet:
    """The same rules, called "0", "1" and so on; each zone is a rule of its own, such as "1/0"."""
    rules = []
    for number, rule in enumerate(ruleset.rules):
        if not rule.zones:
            rules.append(rule.model_copy(update={"name": f"{number}"}))
        for at, zone in enumerate(rule.zones):
            rules.append(rule.model_copy(update={"name": f"{number}/{at}", "zones": (zone,)}))
    return replace(ruleset, rules=tuple(rules))


@dataclass
class Seen:
    """All that was seen of one rule set.

    `entered` has (source, state, message) by label, `arrived` every (source, state, message, what arrives together).
    """

    entered: dict[str, set[tuple[str, int, bytes]]] = field(default_factory=lambda: defaultdict(set))
    arrived: list[tuple[str, int, bytes, frozenset[Labelled]]] = field(default_factory=list)
    states: int = 0


class FindingBrute:
    """What is to be found in a rule set; `values` are the data bytes that are tried."""

    def __init__(self, ruleset: RuleSet, values: Sequence[int]) -> None:
        self.ruleset = ruleset
        self.values = sorted(values)
        self._brute = _NotingBrute(labelled(ruleset))
        self.outlets: dict[str, list[str]] = {}
        self.zones: dict[str, Any] = {}
        for number, rule in enumerate(ruleset.rules):
            for way in rule.branches():
                label = f"{number}" if way.zone is None else f"{number}/{way.number}"
                self.outlets[label] = [name for outlet in way.outlets for name in outlet.to]
                self.zones[label] = way.zone
        self.sources = [name for name, port in ruleset.ports.items() if port.can_receive]
        self._states = list(all_switches(ruleset))
        self.seen = self._look()

    def _look(self) -> Seen:
        seen = Seen(states=len(self._states))
        messages = list(messages_of(self.values))
        for source in self.sources:
            for state, switches in enumerate(self._states):
                for message in messages:
                    if message[0] & 0xF0 == NOTE_ON and message[2] == 0:
                        continue  # a note-off (MIDI 1.0), which is tried as one
                    for arrived in self._outcomes(source, message, switches):
                        if arrived:
                            seen.arrived.append((source, state, message, arrived))
                    for label in self._brute.entered:
                        seen.entered[label].add((source, state, message))
        return seen

    def _outcomes(self, source: str, message: bytes, switches: Switches) -> set[frozenset[Labelled]]:
        self._brute.entered = set()
        found: set[frozenset[Any]] = set(self._brute.outcomes(source, message, switches))
        return {frozenset(each for each in arrived if isinstance(each, Labelled)) for arrived in found}

    # -- the kinds ----------------------------------------------------------------------------------------------------

    def never_matching(self) -> set[str]:
        """The labels of rules and zones that nothing enters; zones of a rule that nothing enters aren't named."""
        found = set()
        for label, zone in self.zones.items():
            if label not in self.seen.entered:
                whole = _number(label)
                found.add(label if zone is not None and whole in self.seen.entered else whole)
        return found

    def all_lost(self) -> set[str]:
        """The labels of those that something enters, though nothing leaves them."""
        leaving = {each.label for *_, arrived in self.seen.arrived for each in arrived}
        return {
            label for label in self.zones if label in self.seen.entered and label not in leaving and self.outlets[label]
        }

    def unreached(self) -> set[str]:
        """The devices that nothing arrives at."""
        reached = set()
        for *_, arrived in self.seen.arrived:
            for each in arrived:
                for name, device in self.ruleset.devices.items():
                    if device.port == each.port and each.label:
                        named = name in self.outlets[each.label]
                        by_channel = facts.has_channel(each.message) and device.channel is not None
                        if self._hears(device, each.message) if by_channel else named:
                            reached.add(name)
        return set(self.ruleset.devices) - reached

    @staticmethod
    def _hears(device: Any, message: bytes) -> bool:
        return device.channel is None or (
            facts.has_channel(message) and facts.channel_of(message) + 1 == device.channel
        )

    def notes_outside(self) -> set[tuple[str, str]]:
        """Label and device, where some note outside of its range arrives in every state of the switches."""
        states: dict[tuple[str, str, int], set[int]] = defaultdict(set)
        for _, state, _, arrived in self.seen.arrived:
            for each in arrived:
                if each.message[0] & 0xF0 != NOTE_ON or not self._names_notes(each.label):
                    continue
                for name, device in self.ruleset.devices.items():
                    if device.port == each.port and self._hears(device, each.message) and device.notes is not None:
                        low, high = device.notes
                        if device.outside == "pass" and not low <= each.message[1] <= high:
                            states[each.label, name, each.message[1]].add(state)
        return {(label, name) for (label, name, _), those in states.items() if len(those) == self.seen.states}

    def _names_notes(self, label: str) -> bool:
        zone, rule = self.zones[label], self.ruleset.rules[int(_number(label))]
        if zone is not None and zone.notes is not None:
            return True
        notes = [
            condition for condition in rule.match if condition.kinds is None or condition.kinds & {"note", "note-on"}
        ]
        return bool(rule.match) and all(condition.notes is not None for condition in notes)

    def split_notes(self) -> tuple[dict[int, set[int]], dict[int, set[int]]]:
        """The notes in the gaps and overlaps of each rule by its number."""
        gaps: dict[int, set[int]] = defaultdict(set)
        overlaps: dict[int, set[int]] = defaultdict(set)
        for number in range(len(self.ruleset.rules)):
            zones = [label for label, zone in self.zones.items() if _number(label) == f"{number}" and zone is not None]
            split = [label for label in zones if self.zones[label].notes is not None]
            if len(split) < 2:
                continue
            every = {label: {message[1] for *_, message in self._note_ons(label)} for label in split}
            for stream in {(source, state, message[0]) for source, state, message in self._note_ons(f"{number}")}:
                keys = {label: self._keys(label, stream) for label in {*zones, *self._elsewhere(number)}}
                played = set().union(*keys.values())
                inside = set().union(*(keys[label] for label in split))
                for key in self._keys(f"{number}", stream) - played:
                    if inside and min(inside) < key < max(inside):
                        gaps[number].add(key)
            for one, other in combinations(split, 2):
                if every[one] <= every[other] or every[other] <= every[one]:
                    continue
                both = set(self._note_ons(one)) & set(self._note_ons(other))
                overlaps[number] |= {message[1] for *_, message in both}
        return gaps, {number: keys for number, keys in overlaps.items() if keys}

    def _elsewhere(self, number: int) -> list[str]:
        return [label for label in self.seen.entered if _number(label) != f"{number}"]

    def _note_ons(self, label: str) -> list[tuple[str, int, bytes]]:
        return [each for each in self.seen.entered.get(label, ()) if each[2][0] & 0xF0 == NOTE_ON]

    def _keys(self, label: str, stream: tuple[str, int, int]) -> set[int]:
        return {message[1] for source, state, message in self._note_ons(label) if (source, state, message[0]) == stream}

    def shared_notes(self) -> set[tuple[int, int]]:
        """Two rules by number that can sound one note from two sources in one state of the switches."""
        by_note: dict[tuple[str, int, int, int], set[tuple[str, int]]] = defaultdict(set)
        for source, state, _, arrived in self.seen.arrived:
            for each in arrived:
                if each.message[0] & 0xF0 == NOTE_ON and not each.is_written and each.label:
                    note = each.port, state, each.message[0], each.message[1]
                    by_note[note].add((source, int(_number(each.label))))
        found = set()
        for holders in by_note.values():
            for (source, rule), (other_source, other) in combinations(sorted(holders), 2):
                if source != other_source and rule != other:
                    found.add((min(rule, other), max(rule, other)))
        return found

    def two_ways(self) -> set[tuple[str, int]]:
        """Port and controller (-1: a program) that one message sets in two ways."""
        found = set()
        for *_, arrived in self.seen.arrived:
            values = [
                each for each in arrived if each.message[0] & 0xF0 in (CONTROLLER, PROGRAM) and not each.is_written
            ]
            for one, other in combinations(values, 2):
                if one.port != other.port or one.message[0] != other.message[0] or one.message == other.message:
                    continue
                if one.message[0] & 0xF0 == PROGRAM:
                    found.add((one.port, -1))
                elif one.message[1] == other.message[1] != PORTAMENTO_CONTROL:
                    found.add((one.port, one.message[1]))
        return found

    def din_load(self, port: str) -> Fraction:
        """What a port gets if each source plays at full rate: 1 is as much as comes."""
        shares: dict[str, Fraction] = defaultdict(Fraction)
        for source, _, message, arrived in self.seen.arrived:
            if message[0] & 0xF0 == CONTROLLER and message[1] == PORTAMENTO_CONTROL:
                continue
            here = {(each.message, each.delay) for each in arrived if each.port == port and not each.is_written}
            size = sum(1 if out[0] == 0xF0 else len(out) for out, _ in here)
            shares[source] = max(shares[source], Fraction(size, 1 if message[0] == 0xF0 else len(message)))
        return sum(shares.values(), Fraction(0))

    def loops(self) -> set[tuple[str, str]]:
        """Device and source where what comes back to the source goes out and comes back once more."""
        returns = [(name, each.port, each.returns) for name, each in self.ruleset.devices.items() if each.returns]
        found = set()
        for name, port, source in returns:
            others = [each for each in returns if each[0] != name]
            for came, state, message, arrived in self.seen.arrived:
                if came == source and (name, source) not in found and message[0] & 0xF0 != 0xF0:
                    back = self._back(arrived, port, others, state, frozenset({source}))
                    if any(self._goes_on(source, each, port, others, state) for each in back):
                        found.add((name, source))
        return found

    def _goes_on(self, source: str, message: bytes, port: str, others: list[Any], state: int) -> bool:
        outcomes = self._outcomes(source, message, self._states[state])
        return any(self._back(arrived, port, others, state, frozenset({source})) for arrived in outcomes)

    def _back(
        self, arrived: frozenset[Labelled], port: str, others: list[Any], state: int, passed: frozenset[str]
    ) -> set[bytes]:
        """The messages that come back by a port, perhaps by other returns before."""
        found = {each.message for each in arrived if each.port == port}
        for _, other_port, source in others:
            if source in passed:
                continue
            for message in {each.message for each in arrived if each.port == other_port}:
                for outcome in self._outcomes(source, message, self._states[state]):
                    found |= self._back(outcome, port, others, state, passed | {source})
        return found
