"""The messages that make most of an output's bytes: of ways that lead there, those which one message can take together.

Which ways go together is up to the data bytes, the switches and what is remembered. All data bytes that open the same
ways are looked at as one, and so are all states of a switch; what can't be more than was found already isn't looked at.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from typing import NamedTuple

from rules.behaviour.behaviour import Way, whole_region
from rules.behaviour.regions import Dimension, Given
from rules.midi.messages import LENGTH
from rules.program.byte_tables import FIRST, SECOND, open_in


class Heaviest(NamedTuple):
    """How many bytes the heaviest messages make, and one of their ways, within them."""

    size: int
    way: Way


class _Outcome(NamedTuple):
    """Something that messages become: how many bytes, where what is given (any of these), and a way that makes it."""

    size: int
    givens: tuple[Given, ...]
    way: Way


def heaviest(ways: Sequence[Way], status: int, more_than: int = 0) -> Heaviest | None:
    """Return the heaviest messages of a status, if they make more bytes than that; None if none do."""
    found: Heaviest | None = None
    whole = whole_region(status)
    for firsts in _classes(whole.firsts, (way.form.gate_one for way in ways)):
        by_first = [way for way in ways if way.form.gate_one & firsts]
        for seconds in _classes(whole.seconds, (way.form.gate_two for way in by_first)):
            outcomes = _outcomes([way for way in by_first if way.form.gate_two & seconds], firsts, seconds)
            best = _search(outcomes, max(more_than, found.size if found is not None else 0))
            if best is not None:
                form = best.way.form._replace(gate_one=firsts, gate_two=seconds)
                found = Heaviest(best.size, best.way._replace(form=form, given=best.way.given))
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


def _search(outcomes: Sequence[_Outcome], more_than: int) -> Heaviest | None:
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
        return Heaviest(total, outcomes[-1].way)
    dimension = max(uses, key=lambda each: uses[each])
    gates = (gate for outcome in outcomes for given in outcome.givens for each, gate in given if each == dimension)
    parts = [list(_within(outcomes, dimension, part)) for part in _classes(dimension.whole, gates)]
    found: Heaviest | None = None
    for part in sorted(parts, key=lambda part: -sum(outcome.size for outcome in part)):
        best = _search(part, found.size if found is not None else more_than)
        found = best if best is not None else found
    return found


def _within(outcomes: Sequence[_Outcome], dimension: Dimension, part: int) -> Iterator[_Outcome]:
    """Yield the outcomes that there are where a dimension has one of some values that are alike."""
    for outcome in outcomes:
        givens = [given for given in outcome.givens if all(gate & part for each, gate in given if each == dimension)]
        if givens:
            left = (tuple(entry for entry in given if entry[0] != dimension) for given in givens)
            yield outcome._replace(givens=tuple(dict.fromkeys(left)))
