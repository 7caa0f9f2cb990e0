"""In which order the parts of a rig stand in its three columns, so that few lines cross.

The columns are given - sources, rules, outputs with their devices - and so is what stays together: a device stays at
its port, the ways out of a rule stay in their order. Layout libraries that need no system packages know neither
(grandalf 0.8 was tried on 40 random rigs: 9,058 crossings, and 9,125 here, where devices may leave their ports). So
this is the usual layer by layer method on those terms: barycentres in sweeps, then exchanges of neighbours
(K. Sugiyama, S. Tagawa, M. Toda, Methods for Visual Understanding of Hierarchical System Structures, 1981; from
memory). Where lines don't care, the order of the rule file stays.
"""

from __future__ import annotations

from bisect import bisect_right, insort
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import Final

_SWEEPS: Final = 6
_MOST_ROUNDS: Final = 20
_TARGETS: Final = 3  # where the lists of targets begin

Line = tuple[int, int]


@dataclass(frozen=True, slots=True)
class Layers:
    """What is connected: for each rule its sources, and for each of its branches the targets, by number.

    Branches stand in their order; the lines of one branch leave in the order of their targets, and so never cross.
    `outputs` are the targets of each output, the port itself first where it is one; a target is in one output.
    """

    sources: int
    rule_sources: Sequence[Sequence[int]]
    rule_targets: Sequence[Sequence[Sequence[int]]]
    outputs: Sequence[Sequence[int]]


@dataclass(frozen=True, slots=True)
class Order:
    """The parts of each column by number, from above to below: sources, rules, outputs, then targets.

    There is a list of targets for each output, in the order of their numbers, wherever the output is.
    """

    lists: tuple[tuple[int, ...], ...]

    @property
    def sources(self) -> tuple[int, ...]:
        """The sources, from above to below."""
        return self.lists[0]

    @property
    def rules(self) -> tuple[int, ...]:
        """The rules, from above to below."""
        return self.lists[1]

    @property
    def outputs(self) -> tuple[int, ...]:
        """The outputs, from above to below."""
        return self.lists[2]

    def targets_of(self, output: int) -> tuple[int, ...]:
        """Return the targets of an output, from above to below."""
        return self.lists[_TARGETS + output]

    @property
    def targets(self) -> list[int]:
        """All targets, from above to below."""
        return [target for output in self.outputs for target in self.targets_of(output)]

    def exchanged(self, column: int, at: int) -> Order:
        """Return the order with the part at a place of one list behind the next."""
        parts = list(self.lists[column])
        parts[at], parts[at + 1] = parts[at + 1], parts[at]
        return Order((*self.lists[:column], tuple(parts), *self.lists[column + 1 :]))


def least_crossings(layers: Layers, fixed: frozenset[int] = frozenset()) -> Order:
    """Return an order with few crossings. The targets `fixed`, which are ports, stay first at their outputs."""
    best = order = file_order(layers)
    least = crossings(layers, best)
    for _ in range(_SWEEPS):
        for sweep in (_by_rules, _by_both_sides):
            order = sweep(layers, order, fixed)
            crossed = crossings(layers, order)
            if crossed < least:
                best, least = order, crossed
    return _exchanged(layers, best, least, fixed)


def file_order(layers: Layers) -> Order:
    """Return the order of the rule file."""
    sizes = (layers.sources, len(layers.rule_sources), len(layers.outputs))
    return Order((*(tuple(range(size)) for size in sizes), *map(tuple, layers.outputs)))


def crossings(layers: Layers, order: Order) -> int:
    """Return how many pairs of lines cross."""
    sources, targets = _places(order.sources), _places(order.targets)
    left = [(place, sources[source]) for place, rule in enumerate(order.rules) for source in layers.rule_sources[rule]]
    right = []
    exits = 0
    for rule in order.rules:
        for branch in layers.rule_targets[rule]:
            right += [(exits, targets[target]) for target in branch]
            exits += 1
    return _inversions(left) + _inversions(right)


def _inversions(lines: list[Line]) -> int:
    """Return how many pairs of lines, each from a place to a place, cross; lines from or to one place don't."""
    crossed = 0
    seen: list[int] = []
    lines.sort()
    at = 0
    while at < len(lines):
        begin = at
        while at < len(lines) and lines[at][0] == lines[begin][0]:
            crossed += len(seen) - bisect_right(seen, lines[at][1])
            at += 1
        for _, end in lines[begin:at]:
            insort(seen, end)
    return crossed


def _places(order: Iterable[int]) -> dict[int, int]:
    return {number: place for place, number in enumerate(order)}


def _mean(places: Sequence[float], otherwise: float) -> float:
    return sum(places) / len(places) if places else otherwise


def _by_rules(layers: Layers, order: Order, fixed: frozenset[int]) -> Order:
    """Sort sources and outputs by the middle of the rules that they are connected to."""
    of_source: dict[int, list[float]] = {}
    of_target: dict[int, list[float]] = {}
    for place, rule in enumerate(order.rules):
        for source in layers.rule_sources[rule]:
            of_source.setdefault(source, []).append(place)
        branches = layers.rule_targets[rule]
        for number, branch in enumerate(branches):
            for target in branch:
                of_target.setdefault(target, []).append(place + number / len(branches))
    end = float(len(order.rules))
    lists = [
        sorted(targets, key=lambda each: (each not in fixed, _mean(of_target.get(each, ()), end), each))
        for targets in layers.outputs
    ]

    def middle(output: int) -> tuple[float, int]:
        return _mean([place for target in lists[output] for place in of_target.get(target, ())], end), output

    sources = sorted(order.sources, key=lambda source: (_mean(of_source.get(source, ()), end), source))
    return Order((tuple(sources), order.rules, tuple(sorted(order.outputs, key=middle)), *map(tuple, lists)))


def _by_both_sides(layers: Layers, order: Order, _: frozenset[int]) -> Order:
    """Sort rules by the middle of their sources and targets, each side counted alike."""
    sources, targets = _places(order.sources), _places(order.targets)

    def middle(rule: int) -> tuple[float, int]:
        left = _mean([sources[source] / max(len(sources), 1) for source in layers.rule_sources[rule]], 0.5)
        ends = [targets[target] / max(len(targets), 1) for branch in layers.rule_targets[rule] for target in branch]
        right = _mean(ends, 0.5)
        return left + right, rule

    return Order((order.sources, tuple(sorted(order.rules, key=middle)), *order.lists[2:]))


def _exchanged(layers: Layers, order: Order, least: int, fixed: frozenset[int]) -> Order:
    """Exchange neighbours in each column as long as that takes crossings away."""
    for _ in range(_MOST_ROUNDS):
        before = least
        for column, parts in enumerate(order.lists):
            for at in range(len(parts) - 1):
                if column >= _TARGETS and order.lists[column][at] in fixed:
                    continue
                tried = order.exchanged(column, at)
                crossed = crossings(layers, tried)
                if crossed < least:
                    order, least = tried, crossed
        if least == before:
            break
    return order
