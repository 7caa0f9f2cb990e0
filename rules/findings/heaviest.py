"""The messages that make most of an output's bytes: of ways that lead there, those which one message can take together.

Which ways go together is up to the data bytes, the switches and what is remembered. All data bytes that open the same
ways are looked at as one, and so are all states of a switch; what can't be more than was found already isn't looked at.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from typing import NamedTuple

from rules.behaviour.behaviour import Way, whole_region
from rules.behaviour.regions import NOTHING_GIVEN, Dimension, Given, given_of
from rules.midi.messages import LENGTH
from rules.program.byte_tables import FIRST, SECOND, open_in


class Heaviest(NamedTuple):
    """How many bytes the heaviest messages make, and one of their ways, within them.

    What is `given` there names only the switches that must have other states than their initial ones to make so many.
    """

    size: int
    way: Way


class _Outcome(NamedTuple):
    """Something that messages become: how many bytes, where what is given (any of these), and a way that makes it."""

    size: int
    givens: tuple[Given, ...]
    way: Way


def heaviest(ways: Sequence[Way], status: int, initial: Mapping[Dimension, int], more_than: int = 0) -> Heaviest | None:
    """Return the heaviest messages of a status, if they make more bytes than that; None if none do.

    `initial` has the gate of the initial state of each switch.
    """
    found: Heaviest | None = None
    whole = whole_region(status)
    for firsts in _classes(whole.firsts, (way.form.gate_one for way in ways)):
        by_first = [way for way in ways if way.form.gate_one & firsts]
        for seconds in _classes(whole.seconds, (way.form.gate_two for way in by_first)):
            outcomes = _outcomes([way for way in by_first if way.form.gate_two & seconds], firsts, seconds)
            best = _search(outcomes, max(more_than, found.size if found is not None else 0))
            if best is not None:
                way = outcomes[-1].way
                form = way.form._replace(gate_one=firsts, gate_two=seconds)
                given = _needed(outcomes, best, initial)
                found = Heaviest(best.size, way._replace(form=form, given=given))
    return found


def size_of(status: int) -> int:
    """The bytes of a message; of what has no fixed length, such as sysex, as many go out as come."""
    return LENGTH[status] or 1


def _classes(whole: int, gates: Iterable[int]) -> list[int]:
    """Gates into which a whole gate falls apart: bytes of one open the same of some gates."""
    classes = [whole]
    for gate in dict.fromkeys(gates):
        classes = [part for each in classes for part in (each & gate, each & ~gate) if part]
    return classes


def _outcomes(ways: Iterable[Way], firsts: int, seconds: int) -> list[_Outcome]:
    """What ways make of some data bytes, each once: two that make the same send it once (ruling 7)."""
    gates = {FIRST: firsts, SECOND: seconds}
    found: dict[object, _Outcome] = {}
    for way in ways:
        form = way.form
        one, two = (
            (feed, bytes(table[byte] for byte in open_in(gates[feed])))
            for table, feed in ((form.one, form.feed_one), (form.two, form.feed_two))
        )
        made = form.status, one, two, way.delay
        before = found.get(made, _Outcome(size_of(form.status), (), way))
        found[made] = before._replace(givens=(*before.givens, way.given))
    return list(found.values())


class _Best(NamedTuple):
    """The most bytes that outcomes make together, and where they do."""

    size: int
    given: Given


def _search(outcomes: Sequence[_Outcome], more_than: int) -> _Best | None:
    """Return the most that some outcomes make together, if it is more than that."""
    total = sum(outcome.size for outcome in outcomes)
    if total <= more_than:
        return None
    uses: dict[Dimension, int] = {}
    for outcome in outcomes:
        if () not in outcome.givens:
            for given in outcome.givens:
                for dimension, _ in given:
                    uses[dimension] = uses.get(dimension, 0) + 1
    if not uses:
        return _Best(total, NOTHING_GIVEN)
    dimension = max(uses, key=lambda each: uses[each])
    gates = (gate for outcome in outcomes for given in outcome.givens for each, gate in given if each == dimension)
    parts = [(part, list(_within(outcomes, dimension, part))) for part in _classes(dimension.whole, gates)]
    found: _Best | None = None
    for part, within in sorted(parts, key=lambda each: -sum(outcome.size for outcome in each[1])):
        best = _search(within, found.size if found is not None else more_than)
        found = _Best(best.size, ((dimension, part), *best.given)) if best is not None else found
    return found


def _needed(outcomes: Sequence[_Outcome], best: _Best, initial: Mapping[Dimension, int]) -> Given:
    """Return what is given where outcomes make the most, without the switches whose initial states do as well."""
    gates = dict(best.given)
    for dimension in [dimension for dimension in gates if dimension in initial]:
        without = {each: gate for each, gate in gates.items() if each != dimension}
        if _size_where(outcomes, {**initial, **without}) >= best.size:
            gates = without
    return given_of(gates)


def _size_where(outcomes: Sequence[_Outcome], gates: Mapping[Dimension, int]) -> int:
    """Return how many bytes outcomes make where all dimensions have such values; what isn't named is not met."""
    return sum(
        outcome.size
        for outcome in outcomes
        if any(all(gate & gates.get(dimension, 0) for dimension, gate in given) for given in outcome.givens)
    )


def _within(outcomes: Sequence[_Outcome], dimension: Dimension, part: int) -> Iterator[_Outcome]:
    """Yield the outcomes that there are where a dimension has one of some values that are alike."""
    for outcome in outcomes:
        givens = [given for given in outcome.givens if all(gate & part for each, gate in given if each == dimension)]
        if givens:
            left = (tuple(entry for entry in given if entry[0] != dimension) for given in givens)
            yield outcome._replace(givens=tuple(dict.fromkeys(left)))
