"""Splits that leave notes out, or play notes on both sides of the split point by mistake.

A zone within another one is a layer, and meant. Two zones that overlap at their ends are hardly meant.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping, Sequence
from itertools import combinations, groupby

from rules.behaviour.regions import Given, Region, met, subtracted
from rules.findings.branch_ways import Branch, BranchWays, SourcedWay, whole
from rules.findings.examples import message_in, states_of
from rules.findings.finding import Example, Finding, note_ranges
from rules.midi.messages import NOTE_ON
from rules.program.byte_tables import ALL

_Stream = tuple[int, int]
"""A source by number, and a status."""


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
        found: dict[int, Example] = {}
        number = self._rule.number
        elsewhere = self._taken(lambda label: label.split("/")[0] != whole(number))
        zones = self._taken(lambda label: label.startswith(f"{number}/"))
        for stream, ruled in _note_ons(self._ways.entering.get(whole(number), ())).items():
            taken = [each.way.region for each in (*zones.get(stream, ()), *elsewhere.get(stream, ()))]
            taken = [region._replace(seconds=ALL) for region in taken]
            split = [region for zone in self._zones for region in self._regions(zone, stream)]
            for each in ruled:
                for piece in subtracted([each.way.region], taken):
                    keys = _between(piece, split)
                    for key in range(128):
                        if keys >> key & 1 and key not in found:
                            found[key] = self._example(each, piece._replace(firsts=1 << key))
        yield from self._by_range(
            found,
            "split gap",
            lambda notes: f"No zone plays {notes}, though zones below and above do.",
            "Extend a zone.",
        )

    def overlaps(self) -> Iterator[Finding]:
        """Notes that two zones play, of which neither lies within the other."""
        found: dict[int, Example] = {}
        for one, other in combinations(self._zones, 2):
            mine, others = self._keys(one), self._keys(other)
            if mine & others in (0, mine, others):
                continue
            for stream, entered in self._entered[one.label].items():
                for each in entered:
                    for region in self._regions(other, stream):
                        both = each.way.region.meet(region)
                        if both is not None:
                            for key in range(128):
                                if both.firsts >> key & 1:
                                    found.setdefault(key, self._example(each, both._replace(firsts=1 << key)))
        yield from self._by_range(
            found,
            "split overlap",
            lambda notes: f"Two zones play {notes}.",
            "Let one zone end where the other begins.",
        )

    def _taken(self, wanted: Callable[[str], bool]) -> Mapping[_Stream, Sequence[SourcedWay]]:
        return _note_ons([each for label, entered in self._ways.entering.items() if wanted(label) for each in entered])

    def _regions(self, zone: Branch, stream: _Stream) -> list[Region]:
        return [each.way.region for each in self._entered[zone.label].get(stream, ())]

    def _keys(self, zone: Branch) -> int:
        keys = 0
        for entered in self._entered[zone.label].values():
            for each in entered:
                keys |= each.way.form.gate_one
        return keys

    def _example(self, each: SourcedWay, region: Region) -> Example:
        way = each.way.within(region) or each.way
        pipeline = self._ways.pipeline
        return Example(pipeline.sources[each.source], message_in(way), states_of(pipeline, way.given))

    def _by_range(
        self, found: Mapping[int, Example], kind: str, text: Callable[[str], str], remedy: str
    ) -> Iterator[Finding]:
        """One finding for each range of notes."""
        naming = self._rule.place.source.naming
        keys = sum(1 << key for key in found)
        for key, example in sorted(found.items()):
            if key == 0 or not keys >> (key - 1) & 1:
                run = keys >> key
                length = (~run & (run + 1)).bit_length() - 1
                notes = note_ranges(((1 << length) - 1) << key, naming)[0]
                yield Finding(kind, "doubt", self._rule.rule_place, text(notes), remedy, about=notes, example=example)


def _between(piece: Region, split: Sequence[Region]) -> int:
    """The keys of a piece that have a zone's key below and another above them, with the same switches."""
    found = 0
    for low in split:
        given: Given | None = met(piece.given, low.given)
        if given is None:
            continue
        for high in split:
            if met(given, high.given) is None:
                continue
            lowest = (low.firsts & -low.firsts).bit_length() - 1
            highest = high.firsts.bit_length() - 1
            if lowest < highest:
                found |= piece.firsts & ((1 << highest) - 1) & ~((1 << (lowest + 1)) - 1)
    return found


def _note_ons(entered: Sequence[SourcedWay]) -> dict[_Stream, list[SourcedWay]]:
    """Those of note-ons, by source and status."""
    found: dict[_Stream, list[SourcedWay]] = {}
    for each in entered:
        if each.way.status & 0xF0 == NOTE_ON:
            found.setdefault((each.source, each.way.status), []).append(each)
    return found
