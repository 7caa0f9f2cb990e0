"""Differences between two rule sets, asked for single messages, in the form in which brute force says it."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from itertools import product

from rules.behaviour.regions import Dimension
from rules.comparison.comparison import Comparison, Difference, Result
from rules.midi.messages import LENGTH, NOTE_ON, SYSEX, split_message
from rules.program.byte_tables import FIRST
from tests.support.brute_comparison import Changes
from tests.support.brute_force import Arrival, Switches


def changes(comparison: Comparison, source: str, message: bytes, switches: Switches, values: Sequence[int]) -> Changes:
    """How what one message becomes differs, for each thing that may be remembered and makes a difference."""
    status, first, second = split_message(message)
    meant = [
        difference
        for difference in comparison.differences
        if (difference.source, difference.status) == (source, status)
        and difference.region.firsts >> first & difference.region.seconds >> second & 1
        and _has_states(comparison, difference, switches)
    ]
    found: Changes = set()
    for memory in _memories(meant, values):
        now = [one for one in meant if _is_so(one, memory)]
        lost = {_arrival(result, message) for one in now for result in one.before}
        gained = {_arrival(result, message) for one in now for result in one.now}
        if lost or gained:
            found.add((frozenset(lost), frozenset(gained)))
    return found


def _has_states(comparison: Comparison, difference: Difference, switches: Switches) -> bool:
    for dimension, gate in difference.region.given:
        if dimension.kind == "switch":
            states = comparison.states[dimension]
            if not gate >> states.index(switches[str(dimension.name)]) & 1:
                return False
    return True


def _memories(differences: Sequence[Difference], values: Sequence[int]) -> Iterator[dict[Dimension, int]]:
    gates: dict[Dimension, set[int]] = {}
    for difference in differences:
        for dimension, gate in difference.region.given:
            if dimension.kind != "switch":
                gates.setdefault(dimension, set()).add(gate)
    telling = [
        {tuple(gate >> value & 1 for gate in sorted(asked)): value for value in values} for asked in gates.values()
    ]
    for chosen in product(*(classes.values() for classes in telling)):
        yield dict(zip(gates, chosen, strict=True))


def _is_so(difference: Difference, memory: dict[Dimension, int]) -> bool:
    given = difference.region.given
    return all(dimension.kind == "switch" or gate >> memory[dimension] & 1 for dimension, gate in given)


def _arrival(result: Result, message: bytes) -> Arrival:
    form = result.form
    _, first, second = split_message(message)
    if form.status >= SYSEX:
        data = result.written or message
    else:
        one = form.one[first if form.feed_one == FIRST else second]
        two = form.two[first if form.feed_two == FIRST else second]
        data = bytes((form.status, one, two))[: LENGTH[form.status]]
    release = form.release[:128] if form.release is not None and data[0] & 0xF0 == NOTE_ON else None
    return Arrival(result.port, data, result.delay, result.lasts, release)
