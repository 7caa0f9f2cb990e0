"""Splits that leave notes out, or play notes on both sides of the split point by mistake.

A zone within another one is a layer, and meant. Two zones that overlap at their ends are hardly meant.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from itertools import combinations, groupby, product

from rules.behaviour.regions import Region, met, subtracted
from rules.findings.branch_ways import Branch, BranchWays, SourcedWay, whole
from rules.findings.examples import message_in, states_of
from rules.findings.finding import Example, Finding, key_ranges, range_words
from rules.midi.messages import NOTE_ON
from rules.program.byte_tables import ALL, gate_of, open_in

_Stream = tuple[int, int]
"""A source by number, and a status."""

_Notes = tuple[SourcedWay, Region]
"""A way into a rule or zone, and those of its note-ons that are meant."""


def split_findings(ways: BranchWays) -> Iterator[Finding]:
    """Gaps and overlaps of each rule whose zones ask for notes."""
    for _, of_rule in groupby(ways.branches, lambda branch: branch.number):
        zones = [branch for branch in of_rule if branch.zone is not None and branch.zone.notes is not None]
        if len(zones) > 1:
            split = _Split(ways, zones)
            yield from split.gaps()
            yield from split.overlaps()


class _Split:
    """The zones of one rule that ask for notes."""

    def __init__(self, ways: BranchWays, zones: Sequence[Branch]) -> None:
        self._ways = ways
        self._zones = zones
        self._rule = zones[0]
        self._entered = {zone.label: _note_ons(ways.entering.get(zone.label, ())) for zone in zones}

    def gaps(self) -> Iterator[Finding]:
        """Notes between zones that the rule matches, and that neither a zone nor another rule plays."""
        text = "No zone plays {}, though zones below and above do."
        yield from self._by_range(self._unplayed(), "split gap", text, "Extend a zone.")

    def overlaps(self) -> Iterator[Finding]:
        """Notes that two zones play, of which neither lies within the other."""
        remedy = "Let one zone end where the other begins."
        yield from self._by_range(self._played_twice(), "split overlap", "Two zones play {}.", remedy)

    def _unplayed(self) -> Iterator[_Notes]:
        taken = self._taken()
        for stream, ruled in _note_ons(self._ways.entering.get(whole(self._rule.number), ())).items():
            zones = [region for zone in self._zones for region in self._regions(zone, stream)]
            for each in ruled:
                for piece in subtracted([each.way.region], taken.get(stream, ())):
                    yield each, piece._replace(firsts=_between(piece, zones))

    def _taken(self) -> Mapping[_Stream, Sequence[Region]]:
        """What any zone of the rule takes, and then what any other rule does, whatever the velocity."""
        number = whole(self._rule.number)
        labels = sorted(self._ways.entering, key=lambda label: label.split("/")[0] != number)
        ways = [each for label in labels if label != number for each in self._ways.entering[label]]
        return {
            stream: [each.way.region._replace(seconds=ALL) for each in entered]
            for stream, entered in _note_ons(ways).items()
        }

    def _played_twice(self) -> Iterator[_Notes]:
        for one, other in combinations(self._zones, 2):
            keys = self._keys(one), self._keys(other)
            if keys[0] & keys[1] in (0, *keys):
                continue
            for stream, entered in self._entered[one.label].items():
                for each, region in product(entered, self._regions(other, stream)):
                    both = each.way.region.meet(region)
                    if both is not None:
                        yield each, both

    def _regions(self, zone: Branch, stream: _Stream) -> list[Region]:
        return [each.way.region for each in self._entered[zone.label].get(stream, ())]

    def _keys(self, zone: Branch) -> int:
        """The gate of the keys that a zone takes."""
        keys = 0
        for entered in self._entered[zone.label].values():
            for each in entered:
                keys |= each.way.form.gate_one
        return keys

    def _example(self, each: SourcedWay, region: Region) -> Example:
        way = each.way.within(region) or each.way
        pipeline = self._ways.pipeline
        return Example(pipeline.sources[each.source], message_in(way), states_of(pipeline, way.given))

    def _by_range(self, notes: Iterable[_Notes], kind: str, text: str, remedy: str) -> Iterator[Finding]:
        """One finding for each range of notes, whose example is the lowest one. `text` has a place for the range."""
        examples: dict[int, Example] = {}
        for each, region in notes:
            for key in open_in(region.firsts):
                if key not in examples:
                    examples[key] = self._example(each, region._replace(firsts=1 << key))
        for low, high in key_ranges(gate_of(examples)):
            words = range_words(low, high, self._rule.place.source.naming)
            yield Finding(
                kind, "doubt", self._rule.rule_place, text.format(words), remedy, about=words, example=examples[low]
            )


def _between(piece: Region, zones: Sequence[Region]) -> int:
    """The keys of a piece that have a zone's key below and another above them, with the same switches."""
    found = 0
    for low in zones:
        given = met(piece.given, low.given)
        if given is None:
            continue
        below = open_in(low.firsts)[0]
        for high in zones:
            above = open_in(high.firsts)[-1]
            if below < above and met(given, high.given) is not None:
                found |= piece.firsts & ((1 << above) - (1 << below + 1))
    return found


def _note_ons(entered: Sequence[SourcedWay]) -> dict[_Stream, list[SourcedWay]]:
    """Those of note-ons, by source and status."""
    found: dict[_Stream, list[SourcedWay]] = {}
    for each in entered:
        if each.way.status & 0xF0 == NOTE_ON:
            found.setdefault((each.source, each.way.status), []).append(each)
    return found
