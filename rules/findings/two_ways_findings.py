"""Messages that arrive at one output by two ways, as two programs or as two values of one controller."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from itertools import combinations
from typing import Final, NamedTuple

from rules.behaviour.behaviour import Way
from rules.behaviour.outcomes import unequal
from rules.behaviour.regions import Region
from rules.findings.branch_ways import BranchWays, SourcedWay
from rules.findings.examples import example
from rules.findings.finding import Finding
from rules.findings.output_ways import Output, output_words, ways_by_output
from rules.midi.controllers import PORTAMENTO_CONTROL
from rules.midi.messages import CONTROLLER, PROGRAM
from rules.midi.notation import format_controller
from rules.program.byte_tables import FIRST, SECOND, open_in, preimage

_A_PROGRAM: Final = -1
"""In place of the number of a controller."""


class _Difference(NamedTuple):
    """Messages that two ways set differently, and what they set: a controller by number, or `_A_PROGRAM`."""

    number: int
    messages: Region


class _Clash(NamedTuple):
    """Two ways of the same messages, in the order of the rules, and what they set differently."""

    first: SourcedWay
    second: SourcedWay
    difference: _Difference


def two_ways_findings(ways: BranchWays) -> Iterator[Finding]:
    """One for each rule or zone, and what another way sets differently."""
    found: dict[tuple[str, int], Finding] = {}
    for kind in (PROGRAM, CONTROLLER):
        for output, arriving in ways_by_output(ways, kind).items():
            for clash in _clashes(arriving, kind):
                what = clash.second.way.form.rule, clash.difference.number
                if what not in found:
                    found[what] = _finding(ways, output, clash)
    yield from found.values()


def _clashes(arriving: Sequence[SourcedWay], kind: int) -> Iterator[_Clash]:
    """Yield where one message arrives at an output as two of a kind."""
    by_message: dict[tuple[int, int], list[SourcedWay]] = {}
    for each in arriving:
        by_message.setdefault((each.source, each.way.status), []).append(each)
    for alike in by_message.values():
        for one, other in combinations(alike, 2):
            shared = one.way.region.meet(other.way.region)
            difference = None if shared is None else _difference(one.way, other.way, kind, shared)
            if difference is not None:
                yield _Clash(one, other, difference)


def _difference(one: Way, other: Way, kind: int, shared: Region) -> _Difference | None:
    """Return what two ways set differently of the messages that both take; None if nothing.

    Portamento control isn't looked at: its value is a note.
    """
    left, right = one.form, other.form
    if (left.feed_one, left.feed_two) == (right.feed_one, right.feed_two) == (FIRST, SECOND):
        return _difference_of_tables(one, other, kind, shared)
    return _difference_of_messages(one, other, kind, shared)


def _difference_of_tables(one: Way, other: Way, kind: int, shared: Region) -> _Difference | None:
    """Return the same for ways that change each data byte by itself: their tables are compared as a whole."""
    left, right = one.form, other.form
    unlike = unequal(left.one, right.one)
    if kind == PROGRAM:
        firsts, seconds = shared.firsts & unlike, shared.seconds
    else:
        firsts = shared.firsts & ~unlike & ~preimage(left.one, 1 << PORTAMENTO_CONTROL)
        seconds = shared.seconds & unequal(left.two, right.two)
    if not firsts or not seconds:
        return None
    first = open_in(firsts)[0]
    number = _A_PROGRAM if kind == PROGRAM else left.one[first]
    return _Difference(number, shared._replace(firsts=1 << first, seconds=seconds))


def _difference_of_messages(one: Way, other: Way, kind: int, shared: Region) -> _Difference | None:
    """Return the same for any ways: all that is shared is tried, up to the first data byte that makes a difference."""
    for first in open_in(shared.firsts):
        found: dict[int, int] = {}
        for second in open_in(shared.seconds):
            made, too = one.arriving(first, second), other.arriving(first, second)
            if made != too and (kind == PROGRAM or made[1] == too[1] != PORTAMENTO_CONTROL):
                number = _A_PROGRAM if kind == PROGRAM else made[1]
                found[number] = found.get(number, 0) | 1 << second
        if found:
            number, seconds = next(iter(found.items()))
            return _Difference(number, shared._replace(firsts=1 << first, seconds=seconds))
    return None


def _finding(ways: BranchWays, output: Output, clash: _Clash) -> Finding:
    one, other, (number, messages) = clash
    first, branch = ways.by_label[one.way.form.rule], ways.by_label[other.way.form.rule]
    what = "programs" if number == _A_PROGRAM else f"controller {format_controller(number)}"
    shown = other._replace(way=other.way.within(messages) or other.way)
    twice = f'rule "{first.name}"' if first.number != branch.number else "another zone of the rule"
    return Finding(
        "two ways",
        "doubt",
        branch.place,
        f"What this sends as {what} to {output_words(ways, output)}, {twice} sends with another value.",
        "Drop it with a `filter` on one of the two ways.",
        about=what,
        example=example(ways.pipeline, shown),
        others=(first.place,),
    )
