"""Regions of messages: sets of messages of one status, of switch states, and of what is remembered.

A region is a product of gates: one for the first data byte, one for the second, and one for each *dimension* that it
asks about besides: a switch, or a value that a node remembers. What it doesn't ask about can be anything. The work that
regions cost grows with their number, and not with that of the messages or switch states in them.
"""

from __future__ import annotations

from collections.abc import Callable, Hashable, Iterable, Mapping, Sequence
from functools import partial
from typing import Final, Literal, NamedTuple

from rules.program.byte_tables import ALL

DimensionKind = Literal["switch", "memory", "thin"]


class Dimension(NamedTuple):
    """What a region may ask about besides the data bytes: it has one of `size` values.

    A `switch`, by its name, has the code of its state. A `memory` has the value (0-127) that a node remembers of
    messages before; its name is a tuple of the node's key, then of what says which messages these are. `thin` is that
    of a node that may keep back what comes.
    """

    kind: DimensionKind
    name: Hashable
    size: int = 128

    @property
    def whole(self) -> int:
        """The gate of all values."""
        return (1 << self.size) - 1


Given = tuple[tuple[Dimension, int], ...]
"""The dimensions that a region asks about, each with its gate, in the order of their names. No gate is whole."""

NOTHING_GIVEN: Final[Given] = ()


def given_of(gates: Mapping[Dimension, int]) -> Given:
    """Return gates of dimensions in their order, without those that ask for nothing."""
    asked = [(dimension, gate) for dimension, gate in gates.items() if gate != dimension.whole]
    return tuple(sorted(asked, key=lambda entry: str(entry[0]))) if len(asked) > 1 else tuple(asked)


def met(first: Given, second: Given) -> Given | None:
    """Return what two ask for together; None where nothing fits both."""
    if not first or not second or first == second:
        return first or second
    gates = dict(first)
    for dimension, gate in second:
        both = gates.get(dimension, gate) & gate
        if not both:
            return None
        gates[dimension] = both
    return given_of(gates)


class Region(NamedTuple):
    """Messages with first data bytes of `firsts` and second ones of `seconds`, where what is `given` is so.

    Where a message has no such byte, the byte counts as 0.
    """

    firsts: int = ALL
    seconds: int = ALL
    given: Given = NOTHING_GIVEN

    @property
    def exists(self) -> bool:
        """Whether there is anything in it."""
        return bool(self.firsts and self.seconds)

    def meet(self, other: Region) -> Region | None:
        """Return what two regions have in common; None where that is nothing."""
        firsts, seconds = self.firsts & other.firsts, self.seconds & other.seconds
        if not firsts or not seconds:
            return None
        given = met(self.given, other.given)
        return None if given is None else Region(firsts, seconds, given)

    def without(self, other: Region) -> list[Region]:
        """Return what is left without another region: pieces that have nothing in common."""
        inside = self.meet(other)
        if inside is None:
            return [self]
        pieces = []
        if rest := self.firsts & ~inside.firsts:
            pieces.append(self._replace(firsts=rest))
        if rest := self.seconds & ~inside.seconds:
            pieces.append(self._replace(firsts=inside.firsts, seconds=rest))
        gates = dict(self.given)
        for dimension, gate in inside.given:
            mine = gates.get(dimension, dimension.whole)
            if rest := mine & ~gate:
                pieces.append(Region(inside.firsts, inside.seconds, given_of({**gates, dimension: rest})))
            gates[dimension] = gate
        return pieces

    def asking(self, kept: Callable[[Dimension], bool]) -> Region:
        """Return the same messages, where only some dimensions are asked about."""
        if not self.given:
            return self
        return self._replace(given=tuple(entry for entry in self.given if kept(entry[0])))

    @property
    def remembers(self) -> bool:
        """Whether it is up to what is remembered of messages before."""
        return any(dimension.kind != "switch" for dimension, _ in self.given)

    @property
    def for_any_memory(self) -> Region:
        """The messages and switch states for which it holds with some memory."""
        return self.asking(lambda dimension: dimension.kind == "switch")


def subtracted(regions: Iterable[Region], taken: Sequence[Region]) -> list[Region]:
    """Return what is left of regions, as pieces that have nothing in common if the regions haven't."""
    left = list(regions)
    for part in taken:
        if not left:
            break
        left = [piece for region in left for piece in region.without(part)]
    return left


def apart(regions: Sequence[Region]) -> list[Region]:
    """Return the same set as regions that have nothing in common."""
    found: list[Region] = []
    for region in regions:
        found += subtracted([region], found)
    return found


def merged(regions: Iterable[Region]) -> list[Region]:
    """Return the same set as fewer regions: those that differ in one gate alone become one."""
    found = list(dict.fromkeys(regions))
    before = 0
    while before != len(found):
        before = len(found)
        found = _merged_by(found, lambda region: region._replace(firsts=0), _with_firsts)
        found = _merged_by(found, lambda region: region._replace(seconds=0), _with_seconds)
        for dimension in dict.fromkeys(entry[0] for region in found for entry in region.given):
            found = _merged_by(found, partial(_without_dimension, dimension), partial(_with_dimension, dimension))
    return found


def _merged_by(
    regions: Iterable[Region],
    rest: Callable[[Region], object],
    together: Callable[[Region, Region], Region],
) -> list[Region]:
    """Merge those regions that are equal but for one gate."""
    found: dict[object, Region] = {}
    for region in regions:
        key = rest(region)
        found[key] = together(found[key], region) if key in found else region
    return list(found.values())


def _with_firsts(region: Region, other: Region) -> Region:
    return region._replace(firsts=region.firsts | other.firsts)


def _with_seconds(region: Region, other: Region) -> Region:
    return region._replace(seconds=region.seconds | other.seconds)


def _without_dimension(dimension: Dimension, region: Region) -> object:
    rest = tuple(entry for entry in region.given if entry[0] != dimension)
    # One that doesn't ask about the dimension is no neighbour of one that does.
    return region._replace(given=rest), len(rest) < len(region.given)


def _with_dimension(dimension: Dimension, region: Region, other: Region) -> Region:
    gates, others = dict(region.given), dict(other.given)
    if dimension not in gates:
        return region
    gates[dimension] |= others[dimension]
    return region._replace(given=given_of(gates))
