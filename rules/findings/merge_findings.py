"""Where messages meet at an output that nobody may have meant to bring together.

Two sources in the `from` of one rule are meant to meet. Two rules may meet without their author's notice.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from itertools import combinations
from typing import Final, NamedTuple

from rules.behaviour.outcomes import keys_made, preimage_of_keys, unequal
from rules.behaviour.regions import Given, Region, met
from rules.findings.branch_ways import Branch, BranchWays, SourcedWay
from rules.findings.device_findings import hears
from rules.findings.examples import example
from rules.findings.finding import Finding, note_ranges
from rules.midi.controllers import PORTAMENTO_CONTROL
from rules.midi.messages import CONTROLLER, NOTE_ON, PROGRAM
from rules.midi.notation import format_controller
from rules.program.byte_tables import FIRST, SECOND, open_in, preimage

_Output = tuple[int, int]
"""A port by number, and a channel 0-15."""

_MOST_OUTPUTS: Final = 3


def merge_findings(ways: BranchWays) -> Iterator[Finding]:
    """All of these, one for each two rules, or for each controller of a rule."""
    meetings: dict[_Pair, list[_Meeting]] = {}
    for output, notes in _by_output(ways, NOTE_ON).items():
        for pair, (keys, shown) in _shared_notes(ways, notes).items():
            meetings.setdefault(pair, []).append(_Meeting(output, keys, shown))
    yield from (_one_note(ways, pair, found) for pair, found in sorted(meetings.items(), key=lambda entry: entry[0]))
    clashes: dict[tuple[str, int], Finding] = {}
    for kind in (PROGRAM, CONTROLLER):
        for output, values in _by_output(ways, kind).items():
            _find_two_ways(ways, output, kind, values, clashes)
    yield from clashes.values()


def _by_output(ways: BranchWays, kind: int) -> Mapping[_Output, list[SourcedWay]]:
    """The ways at whose end messages of a kind arrive, by output; not those of a list that a step sends."""
    found: dict[_Output, list[SourcedWay]] = {}
    for each in ways.all_leaving:
        form = each.way.form
        if form.kind == kind and form.rule and not each.way.literal:
            found.setdefault((form.target, form.status & 0x0F), []).append(each)
    return found


class _Pair(NamedTuple):
    """Two rules by number, the earlier one first."""

    first: int
    second: int


class _Meeting(NamedTuple):
    """Where two rules sound the same notes (a gate of keys), and a way of the later one that does."""

    output: _Output
    keys: int
    shown: SourcedWay


def _shared_notes(ways: BranchWays, arriving: Sequence[SourcedWay]) -> Mapping[_Pair, tuple[int, SourcedWay]]:
    """Two rules each that can sound one note of an output from two sources, the notes, and a way of the later one."""
    found: dict[_Pair, tuple[int, SourcedWay]] = {}
    if len({each.source for each in arriving}) < 2:
        return found
    made: dict[object, tuple[SourcedWay, int, int, Given]] = {}  # what differs only in channel or velocity is one
    for each in arriving:
        number = ways.by_label[each.way.form.rule].number
        alike = number, keys_made(each.way), each.way.region.for_any_memory.given
        made.setdefault((each.source, *alike), (each, *alike))
    for one, other in combinations(made.values(), 2):
        keys = one[2] & other[2]
        if not keys or one[0].source == other[0].source or one[1] == other[1] or met(one[3], other[3]) is None:
            continue
        first, second = sorted((one, other), key=lambda each: each[1])
        pair = _Pair(first[1], second[1])
        before, shown = found.get(pair, (0, second[0]))
        found[pair] = before | keys, shown
    return found


def _one_note(ways: BranchWays, pair: _Pair, found: Sequence[_Meeting]) -> Finding:
    first, place = ways.reading.ruleset.rules[pair.first].name, ways.reading.rules[pair.second]
    _, keys, shown = found[0]
    notes = note_ranges(keys, place.source.naming)
    what = notes[0] if len(notes) == 1 else f"{notes[0]} and others"
    where = ", ".join(dict.fromkeys(_where(ways, *each.output) for each in found[:_MOST_OUTPUTS]))
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


def _where(ways: BranchWays, port: int, channel: int) -> str:
    """The devices at an output, else the port and its channel."""
    name = ways.pipeline.ports[port]
    here = [
        f'"{device}"' for device, each in ways.ruleset.devices.items() if each.port == name and hears(each, channel)
    ]
    return " and ".join(here) or f"{name}, channel {channel + 1}"


def _find_two_ways(
    ways: BranchWays,
    output: _Output,
    kind: int,
    arriving: Sequence[SourcedWay],
    found: dict[tuple[str, int], Finding],
) -> None:
    """Find where one message arrives at an output as two programs, or as two values of one controller.

    `found` has what was found already, by the branch and the controller (-1: a program).
    """
    by_message: dict[tuple[int, int], list[SourcedWay]] = {}
    for each in arriving:
        by_message.setdefault((each.source, each.way.status), []).append(each)
    for alike in by_message.values():
        for one, other in combinations(alike, 2):
            shared = one.way.region.meet(other.way.region)
            differing = None if shared is None else _differing(one, other, kind, shared)
            if differing is not None:
                branch = ways.by_label[other.way.form.rule]
                number, region = differing
                if (branch.label, number) not in found:
                    found[branch.label, number] = _clash(ways, output, branch, (one, other), number, region)


def _differing(one: SourcedWay, other: SourcedWay, kind: int, shared: Region) -> tuple[int, Region] | None:
    """The controller (-1: a program) that two ways set differently, and messages of which they do so; None if none.

    Portamento control isn't one of them: its value is a note.
    """
    left, right = one.way.form, other.way.form
    if (left.feed_one, left.feed_two) == (right.feed_one, right.feed_two) == (FIRST, SECOND):
        unlike = unequal(left.one, right.one)
        if kind == PROGRAM:
            firsts, seconds = shared.firsts & unlike, shared.seconds
        else:
            firsts = shared.firsts & ~unlike & ~preimage(left.one, 1 << PORTAMENTO_CONTROL)
            seconds = shared.seconds & unequal(left.two, right.two)
        if not firsts or not seconds:
            return None
        number = -1 if kind == PROGRAM else left.one[open_in(firsts)[0]]
        return number, shared._replace(firsts=firsts & -firsts, seconds=seconds)
    for first in open_in(shared.firsts):
        found: dict[int, int] = {}
        for second in open_in(shared.seconds):
            made, too = one.way.arriving(first, second), other.way.arriving(first, second)
            if made != too and (kind == PROGRAM or made[1] == too[1] != PORTAMENTO_CONTROL):
                number = -1 if kind == PROGRAM else made[1]
                found[number] = found.get(number, 0) | 1 << second
        for number, seconds in found.items():
            return number, shared._replace(firsts=1 << first, seconds=seconds)
    return None


def _clash(
    ways: BranchWays, output: _Output, branch: Branch, both: tuple[SourcedWay, SourcedWay], number: int, region: Region
) -> Finding:
    what = "programs" if number < 0 else f"controller {format_controller(number)}"
    one, other = both
    first = ways.by_label[one.way.form.rule]
    shown = other._replace(way=other.way.within(region) or other.way)
    twice = f'rule "{first.name}"' if first.number != branch.number else "another zone of the rule"
    return Finding(
        "two ways",
        "doubt",
        branch.place,
        f"What this sends as {what} to {_where(ways, *output)}, {twice} sends with another value.",
        "Drop it with a `filter` on one of the two ways.",
        about=what,
        example=example(ways.pipeline, shown),
        others=(first.place,),
    )
