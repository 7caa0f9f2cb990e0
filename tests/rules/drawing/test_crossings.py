"""The order of the parts of a rig: few lines cross."""

from __future__ import annotations

import itertools

from hypothesis import given
from hypothesis import strategies as st

from rules.drawing.crossings import Layers, Order, crossings, file_order, least_crossings

ONE_SOURCE = [[0], [0], [0]]


def counted_one_by_one(layers: Layers, order: Order) -> int:
    """Crossings counted pair by pair, as one sees them."""
    left = [
        (order.rules.index(rule), order.sources.index(source))
        for rule, sources in enumerate(layers.rule_sources)
        for source in sources
    ]
    exits = [(rule, branch) for rule in order.rules for branch in range(len(layers.rule_targets[rule]))]
    right = [
        (exits.index((rule, branch)), order.targets.index(target))
        for rule, branches in enumerate(layers.rule_targets)
        for branch, targets in enumerate(branches)
        for target in targets
    ]
    return sum(
        (one[0] - other[0]) * (one[1] - other[1]) < 0
        for side in (left, right)
        for one, other in itertools.combinations(side, 2)
    )


@st.composite
def layers(draw: st.DrawFn) -> Layers:
    """Up to four sources, eight rules and three outputs with a port and two devices each."""
    sources, outputs = draw(st.integers(1, 4)), draw(st.integers(1, 3))
    rules = draw(st.integers(1, 8))
    source_lists = st.lists(st.integers(0, sources - 1), min_size=1, max_size=2, unique=True)
    target_lists = st.lists(st.integers(0, 3 * outputs - 1), max_size=3, unique=True)
    branches = st.lists(target_lists, min_size=1, max_size=3)
    return Layers(
        sources,
        draw(st.lists(source_lists, min_size=rules, max_size=rules)),
        draw(st.lists(branches, min_size=rules, max_size=rules)),
        [[3 * output, 3 * output + 1, 3 * output + 2] for output in range(outputs)],
    )


@given(layers())
def test_crossings_are_counted_as_one_sees_them(given_layers: Layers) -> None:
    """The quick count and the pair by pair count agree, before and after."""
    for order in (file_order(given_layers), least_crossings(given_layers)):
        assert crossings(given_layers, order) == counted_one_by_one(given_layers, order)


@given(layers())
def test_an_order_has_every_part_once_and_no_more_crossings_than_the_file(given_layers: Layers) -> None:
    """Targets stay at their outputs, and ports before their devices."""
    ports = frozenset(targets[0] for targets in given_layers.outputs)
    order, before = least_crossings(given_layers, ports), file_order(given_layers)
    assert [sorted(parts) for parts in order.lists] == [sorted(parts) for parts in before.lists]
    assert all(order.targets_of(number)[0] in ports for number in range(len(given_layers.outputs)))
    assert crossings(given_layers, order) <= crossings(given_layers, before)


def test_lines_that_can_be_untangled_are() -> None:
    """Three rules to three devices in the opposite order."""
    tangled = Layers(1, ONE_SOURCE, [[[2]], [[1]], [[0]]], [[0], [1], [2]])
    assert crossings(tangled, file_order(tangled)) == 3
    assert crossings(tangled, least_crossings(tangled)) == 0


def test_where_nothing_crosses_the_order_of_the_file_stays() -> None:
    """Nothing moves for its own sake."""
    plain = Layers(1, ONE_SOURCE, [[[0]], [[1]], [[2]]], [[0, 1], [2]])
    assert least_crossings(plain) == file_order(plain)
