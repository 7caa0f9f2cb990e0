"""Notes that two rules sound at one output, each from another source.

Two sources in the `from` of one rule are meant to meet. Two rules may meet without their author's notice.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from itertools import combinations
from typing import Final, NamedTuple

from rules.behaviour.outcomes import keys_made, preimage_of_keys
from rules.behaviour.regions import Given, met
from rules.findings.branch_ways import BranchWays, SourcedWay
from rules.findings.examples import example
from rules.findings.finding import Finding, note_ranges
from rules.findings.output_ways import Output, output_words, ways_by_output
from rules.midi.messages import NOTE_ON

_MOST_OUTPUTS: Final = 3


class _Pair(NamedTuple):
    """Two rules by number, the earlier one first."""

    first: int
    second: int


class _Sounding(NamedTuple):
    """A way by which a rule sounds notes (a gate of keys), and what is given for it."""

    way: SourcedWay
    rule: int
    keys: int
    given: Given


class _Meeting(NamedTuple):
    """Where two rules sound the same notes (a gate of keys), and a way of the later one that does."""

    output: Output
    keys: int
    shown: SourcedWay


def shared_note_findings(ways: BranchWays) -> Iterator[Finding]:
    """One for each two rules that meet."""
    meetings: dict[_Pair, list[_Meeting]] = {}
    for output, notes in ways_by_output(ways, NOTE_ON).items():
        for pair, (keys, shown) in _shared_notes(_soundings(ways, notes)).items():
            meetings.setdefault(pair, []).append(_Meeting(output, keys, shown))
    for pair, found in sorted(meetings.items(), key=lambda entry: entry[0]):
        yield _finding(ways, pair, found)


def _soundings(ways: BranchWays, arriving: Sequence[SourcedWay]) -> Sequence[_Sounding]:
    """Return how notes of an output come to sound, if they come from several sources."""
    if len({each.source for each in arriving}) < 2:
        return ()
    found: dict[object, _Sounding] = {}  # what differs only in channel or velocity is one
    for each in arriving:
        rule = ways.by_label[each.way.form.rule].number
        sounding = _Sounding(each, rule, keys_made(each.way), each.way.region.for_any_memory.given)
        found.setdefault((each.source, *sounding[1:]), sounding)
    return list(found.values())


def _shared_notes(soundings: Sequence[_Sounding]) -> Mapping[_Pair, tuple[int, SourcedWay]]:
    """Two rules each that can sound one note from two sources, the notes, and a way of the later one."""
    found: dict[_Pair, tuple[int, SourcedWay]] = {}
    for one, other in combinations(soundings, 2):
        keys = one.keys & other.keys
        if not keys or one.way.source == other.way.source or one.rule == other.rule:
            continue
        if met(one.given, other.given) is None:
            continue
        first, second = sorted((one, other), key=lambda each: each.rule)
        pair = _Pair(first.rule, second.rule)
        before, shown = found.get(pair, (0, second.way))
        found[pair] = before | keys, shown
    return found


def _finding(ways: BranchWays, pair: _Pair, found: Sequence[_Meeting]) -> Finding:
    first, place = ways.reading.ruleset.rules[pair.first].name, ways.reading.rules[pair.second]
    _, keys, shown = found[0]
    notes = note_ranges(keys, place.source.naming)
    what = notes[0] if len(notes) == 1 else f"{notes[0]} and others"
    where = ", ".join(dict.fromkeys(output_words(ways, each.output) for each in found[:_MOST_OUTPUTS]))
    more = f" and {len(found) - _MOST_OUTPUTS} more" if len(found) > _MOST_OUTPUTS else ""
    firsts, seconds = preimage_of_keys(shown.way, keys)
    return Finding(
        "one note from two sources",
        "remark",
        place,
        f'Rule "{first}" sounds {what} there too, from another source: {where}{more}.',
        "A note ends when both sources let it go. Name both sources in one rule if it is meant.",
        about=first or "",
        example=example(ways.pipeline, shown, firsts=firsts, seconds=seconds),
        others=(ways.reading.rules[pair.first],),
    )
