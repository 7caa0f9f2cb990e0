"""Loops: what Pointsman sends comes back to an input, and goes out again.

It comes back where a device says so (`returns`: what its port sends goes on to that input), and where an output and an
input are one port of the computer by their names. A through port sends back all that it gets (common practice, no
source: such ports have "through" or "thru" in their names). Another box may do so.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import Final

from rules.behaviour.behaviour import STATUSES, Way
from rules.behaviour.outcomes import one_after_the_other
from rules.findings.branch_ways import BranchWays, SourcedWay
from rules.findings.examples import example, friendly
from rules.findings.finding import Finding, Severity
from rules.ports.patterns import Wanted, matching_ports, wanted_ports
from rules.rulefile.locations import Location

_THROUGH: Final = ("through", "thru")
_MOST_RETURNS: Final = 4
"""Over how many returns a message is followed before it comes back where it began."""


@dataclass(frozen=True, slots=True)
class Return:
    """How messages come back from an output port to a source: by their names, where it is written, and how sure."""

    port: str
    source: str
    place: Location
    severity: Severity
    how: str


def loop_findings(ways: BranchWays) -> Iterator[Finding]:
    """One finding for each return by which a message comes round and goes out again."""
    returns = list(_returns(ways))
    loops = _Loops(ways, returns)
    for each in returns:
        shown = loops.round(each)
        if shown is not None:
            yield Finding(
                "loop",
                each.severity,
                each.place,
                f"{each.how}, and goes out again from there.",
                f'Drop it with a `filter` or a `match` in the rules from "{each.source}".',
                about=each.source,
                example=example(ways.pipeline, shown),
            )


class _Loops:
    """Follows messages from return to return. Where only a box might send them back, no further return is followed."""

    def __init__(self, ways: BranchWays, returns: Sequence[Return]) -> None:
        self._sources = {name: number for number, name in enumerate(ways.pipeline.sources)}
        self._ports = {name: number for number, name in enumerate(ways.pipeline.ports)}
        self._certain: dict[int, list[Return]] = {}
        for each in returns:
            if each.severity == "mistake":
                self._certain.setdefault(self._ports[each.port], []).append(each)
        wanted = {self._ports[each.port] for each in returns}
        self._leaving: dict[tuple[int, int], list[Way]] = {}
        for source, way in ways.all_leaving if returns else ():
            if way.form.target in wanted and (known := _without_memory(way)) is not None:
                self._leaving.setdefault((source, way.status), []).append(known)

    def round(self, first: Return) -> SourcedWay | None:
        """Return messages that come back by a return to the source where they began, and do so once more.

        The way is that of the first round; None where there are no such messages.
        """
        source = self._sources[first.source]
        for status in sorted(STATUSES, key=friendly):
            for way in self._leaving.get((source, status), ()):
                for once in self._back(way, first, frozenset({source})):
                    if any(True for _ in self._on(source, once, first, frozenset({source}))):
                        return SourcedWay(source, once)
        return None

    def _back(self, way: Way, first: Return, passed: frozenset[int]) -> Iterator[Way]:
        """Yield the ways on which what a way sends comes back by a return, perhaps by other returns before."""
        if way.form.target == self._ports[first.port]:
            yield way
        if first.severity != "mistake" or len(passed) > _MOST_RETURNS:
            return
        for other in self._certain.get(way.form.target, ()):
            source = self._sources[other.source]
            if other is not first and source not in passed:
                yield from self._on(source, way, first, passed | {source})

    def _on(self, source: int, way: Way, first: Return, passed: frozenset[int]) -> Iterator[Way]:
        """Yield the same for what comes to a source by a way."""
        for leaving in self._leaving.get((source, way.form.status), ()):
            further = one_after_the_other(way, leaving)
            if further is not None:
                yield from self._back(further, first, passed)


def _without_memory(way: Way) -> Way | None:
    """Return a way whatever a `thin` keeps back; None where it is up to a value that came before."""
    if any(dimension.kind == "memory" for dimension, _ in way.given):
        return None
    return way._replace(given=way.region.for_any_memory.given)


def _returns(ways: BranchWays) -> Iterator[Return]:
    """Every return of the rig."""
    ruleset = ways.ruleset
    for name, device in ruleset.devices.items():
        if device.returns is not None:
            place = ways.reading.devices[name]
            how = f'What goes to "{name}" comes back on "{device.returns}"'
            yield Return(device.port, device.returns, place, "mistake", how)
    wanted = [port for port in wanted_ports(ruleset) if not port.virtual]
    for sending in (port for port in wanted if port.direction == "out"):
        for receiving in (port for port in wanted if port.direction == "in"):
            if _may_be_one(sending.pattern, receiving.pattern):
                yield _by_name(ways.reading.ports[sending.name], sending, receiving)


def _by_name(place: Location, sending: Wanted, receiving: Wanted) -> Return:
    port, source = sending.name, receiving.name
    if any(word in pattern.casefold() for word in _THROUGH for pattern in (sending.pattern, receiving.pattern)):
        how = f'"{port}" is a through port: what goes out there comes back on "{source}"'
        return Return(port, source, place, "mistake", how)
    how = f'"{port}" and "{source}" are one box: it may send back what it gets on "{source}"'
    return Return(port, source, place, "doubt", how)


def _may_be_one(one: str, other: str) -> bool:
    """Return whether two names of the computer's ports, with * and ?, can mean one port."""
    bare = one.strip("*? "), other.strip("*? ")
    same = bare[0].casefold() == bare[1].casefold()
    return same or bool(matching_ports(one, bare[1:]) or matching_ports(other, bare[:1]))
