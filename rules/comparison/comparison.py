"""Two rule sets compared: exactly which messages become something else, from all ways of both.

Ports, sources and switches are known by their names. States of a switch that only one of the rule sets has can't be
compared, so messages are compared in those that both have. What a step remembers of messages before counts as the same
for both, since both have heard the same.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import NamedTuple

from rules.behaviour.agreement import same_bytes
from rules.behaviour.behaviour import STATUSES, Behaviour, Way
from rules.behaviour.regions import Dimension, Given, Region, given_of, met, subtracted
from rules.midi.messages import LENGTH, SYSEX
from rules.program.byte_tables import IDENTITY, SECOND
from rules.program.forms import Form
from rules.program.pipeline import Pipeline
from rules.program.switch_states import State
from rules.timing.delays import Delay


class Result(NamedTuple):
    """What arrives of the messages of a region: at a port, as the tables of a form say, after a delay.

    `lasts` and `written` are those of a way. The gates and the target of the form say nothing.
    """

    port: str
    form: Form
    delay: Delay
    lasts: Delay | None
    written: bytes

    @property
    def manner(self) -> tuple[object, ...]:
        """What has to be equal for two results to be the same, beside their data bytes."""
        return self.port, self.form.status, self.form.release, self.delay, self.lasts, self.written

    def agreeing(self, other: Result) -> list[Region]:
        """Return the incoming messages for which another result is the same."""
        if self.manner != other.manner:
            return []
        if self.written:
            return [Region()]
        return [Region(*rectangle) for rectangle in same_bytes(self.form, other.form)]


@dataclass(frozen=True, slots=True)
class Difference:
    """Messages of one status from a source that become something else.

    `before` is what they became and no longer do, `now` what they become and didn't, each by the rules of one name.
    Where one of them is empty, `besides` says whether anything else becomes of some of these messages: before, where
    nothing is lost, and now, where nothing is gained.
    """

    source: str
    status: int
    region: Region
    before: tuple[Result, ...]
    now: tuple[Result, ...]
    besides: bool


@dataclass(frozen=True, slots=True)
class Comparison:
    """All differences, and the states of each switch that regions ask about, in the order of their codes."""

    differences: list[Difference]
    states: Mapping[Dimension, Sequence[State]]


def compare(old: Pipeline, new: Pipeline) -> Comparison:
    """Compare two pipelines message by message. Clock and transport that go by port are left out."""
    return compare_behaviours(Behaviour(old), Behaviour(new))


def compare_behaviours(old: Behaviour, new: Behaviour) -> Comparison:
    """Compare two behaviours; both forget their ways."""
    switches = _Switches(old, new)
    before, now = _Side(old, switches, 0), _Side(new, switches, 1)
    found: list[Difference] = []
    for source in dict.fromkeys((*old.pipeline.sources, *new.pipeline.sources)):
        for status in STATUSES:
            found += _differences(source, status, before.arrivals(source, status), now.arrivals(source, status))
    old.forget()
    new.forget()
    return Comparison(found, switches.states)


Arrivals = Sequence[tuple[Region, Result, str]]
"""The messages of which something arrives, what that is, and by which rule."""


class _Switches:
    """The switches of both sides: which dimension stands for each, and its codes by those of either side."""

    def __init__(self, old: Behaviour, new: Behaviour) -> None:
        self.states: dict[Dimension, Sequence[State]] = {}
        self._codes: list[dict[str, tuple[Dimension, Sequence[int]]]] = [{}, {}]
        fields = old.pipeline.layout.fields, new.pipeline.layout.fields
        for name in dict.fromkeys((*fields[0], *fields[1])):
            have = [side[name].states if name in side else None for side in fields]
            if have[0] is not None and have[1] is not None:
                both = [state for state in have[0] if any(_is_same(state, other) for other in have[1])]
                if both:
                    self._add(name, both, (0, 1), have)
                    continue
            # Only one side has it, or the sides have nothing in common but the name.
            for side, states in enumerate(have):
                if states is not None:
                    self._add((name, side), states, (side,), have)

    def _add(
        self, name: object, states: Sequence[State], sides: Iterable[int], have: Sequence[Sequence[State] | None]
    ) -> None:
        dimension = Dimension("switch", name, len(states))
        self.states[dimension] = states
        for side in sides:
            own = have[side]
            assert own is not None
            codes = [next((n for n, state in enumerate(states) if _is_same(state, one)), -1) for one in own]
            self._codes[side][name if isinstance(name, str) else name[0]] = dimension, codes  # type: ignore[index]

    def common(self, given: Given, side: int) -> Given | None:
        """Return what a region of one side asks for in the dimensions of both; None where that can't be compared."""
        found: Given = ()
        for dimension, gate in given:
            if dimension.kind == "switch":
                shared, codes = self._codes[side][str(dimension.name)]
                gate = sum(1 << code for own, code in enumerate(codes) if code >= 0 and gate >> own & 1)
            else:
                # Known by the messages that it goes by, not by its place: rules may have other names, or another order.
                shared = dimension._replace(name=dimension.name[1:])  # type: ignore[index]
            both = met(found, given_of({shared: gate})) if gate else None
            if both is None:
                return None
            found = both
        return found


def _is_same(state: State, other: State) -> bool:
    return state == other and isinstance(state, bool) == isinstance(other, bool)


class _Side:
    """What arrives by one of the rule sets, in words that mean the same for both."""

    def __init__(self, behaviour: Behaviour, switches: _Switches, side: int) -> None:
        self._behaviour = behaviour
        self._switches = switches
        self._side = side
        self._numbers = {name: number for number, name in enumerate(behaviour.pipeline.sources)}

    def arrivals(self, source: str, status: int) -> Arrivals:
        """Return what arrives of the messages of a status."""
        if source not in self._numbers:
            return []
        found = []
        for way in self._behaviour.ways(self._numbers[source], status):
            if status > SYSEX and not way.form.rule:
                continue  # it goes by port
            given = self._switches.common(way.given, self._side)
            if given is not None:
                found.append((way.region._replace(given=given), self._result(way), way.form.rule))
        return found

    def _result(self, way: Way) -> Result:
        form = way.form
        port = self._behaviour.pipeline.ports[form.target]
        release = None if form.release == IDENTITY else form.release
        plain = Form(form.status, form.one, form.two, form.feed_one, form.feed_two, release=release)
        if form.status >= SYSEX:
            plain = Form(form.status)
        elif LENGTH[form.status] == 2:
            plain = plain._replace(two=IDENTITY, feed_two=SECOND)
        return Result(port, plain, way.delay, way.lasts, way.written)


def _differences(source: str, status: int, old: Arrivals, new: Arrivals) -> Iterator[Difference]:
    """Find what arrives on one side alone, and put together what the rules of one name make of the same messages."""
    same = {arrival[:2] for arrival in old} & {arrival[:2] for arrival in new}
    lost, gained = _alone(old, new, same), _alone(new, old, same)
    parts_of: dict[str, list[_Part]] = {}
    for is_new, arrivals in enumerate((lost, gained)):
        for region, result, rule in arrivals:
            parts_of[rule] = list(_divided(parts_of.get(rule, ()), region, result, bool(is_new)))
    for parts in parts_of.values():
        for region, before, now in parts:
            # What newly arrives has company if anything arrived before, what no longer does if anything still does.
            others = (old if not before else new) if not before or not now else ()
            besides = any(region.meet(other) is not None for other, _, _ in others)
            yield Difference(source, status, region, _in_order(before), _in_order(now), besides)


def _alone(mine: Arrivals, others: Arrivals, same: set[tuple[Region, Result]]) -> Arrivals:
    """Return what arrives on one side, for the messages of which the same doesn't arrive on the other; each once."""
    by_manner: dict[tuple[object, ...], list[tuple[Region, Result]]] = {}
    for region, result, _ in others:
        by_manner.setdefault(result.manner, []).append((region, result))
    found = []
    for region, result, rule in mine:
        if (region, result) in same:
            continue
        alike = [
            shared
            for other, its in by_manner.get(result.manner, ())
            if (both := region.meet(other)) is not None  # first, for it is soon found out that they have nothing
            for agreeing in result.agreeing(its)
            if (shared := both.meet(agreeing)) is not None
        ]
        # Another rule may bring the same: then it is told once.
        by_manner.setdefault(result.manner, []).append((region, result))
        found += [(left, result, rule) for left in subtracted([region], alike)]
    return found


_Part = tuple[Region, frozenset[Result], frozenset[Result]]
"""Messages, what no longer becomes of them, and what newly does."""


def _divided(parts: Iterable[_Part], region: Region, result: Result, is_new: bool) -> Iterator[_Part]:
    """Divide parts once more: by whether a result arrives."""
    rest = [region]
    for part, before, now in parts:
        inside = part.meet(region)
        if inside is None:
            yield part, before, now
            continue
        yield inside, before if is_new else before | {result}, now | {result} if is_new else now
        yield from ((piece, before, now) for piece in part.without(inside))
        rest = subtracted(rest, [inside])
    alone = frozenset({result})
    yield from ((piece, frozenset() if is_new else alone, alone if is_new else frozenset()) for piece in rest)


def _in_order(results: frozenset[Result]) -> tuple[Result, ...]:
    return tuple(sorted(results, key=lambda result: (result.port, result.form.status, str(result))))
