"""Switches that messages turn, and what conditions on them mean for the switches as they were before."""

from __future__ import annotations

from functools import lru_cache
from typing import Final

from rules.behaviour.regions import NOTHING_GIVEN, Dimension, Given, given_of
from rules.program.guards import ALWAYS, Guard
from rules.program.switch_states import Layout
from rules.steps.trigger_node import TriggerNode

Turned = tuple[tuple[str, tuple[int, ...]], ...]
"""The switches that have been turned, by name: for each code that one had before, the code that it has now."""

NOT_TURNED: Final[Turned] = ()


def switch_dimension(layout: Layout, name: str) -> Dimension:
    """Return the dimension of a switch."""
    return Dimension("switch", name, len(layout.fields[name].states))


def turned_by(node: TriggerNode, pressed: bool, layout: Layout, turned: Turned) -> Turned:
    """Return what has been turned when a trigger is pressed, or let go, after what `turned` says."""
    field = layout.fields[node.switch]
    codes = dict(turned)
    before = codes.get(node.switch, tuple(range(len(field.states))))
    codes[node.switch] = tuple(node.code_after(field, code, pressed=pressed) for code in before)
    return tuple(codes.items())


def conditions(guard: Guard, turned: Turned, layout: Layout) -> tuple[Given, ...]:
    """Return for which switches, as they were before, a guard holds once some have been turned: any of these."""
    if guard == ALWAYS:
        return (NOTHING_GIVEN,)
    return _conditions(guard, turned, layout)


@lru_cache(maxsize=4096)
def _conditions(guard: Guard, turned: Turned, layout: Layout) -> tuple[Given, ...]:
    codes = dict(turned)
    found: list[dict[Dimension, int]] = []
    for mask, value in guard:
        gates: dict[Dimension, int] = {}
        for name, field in layout.fields.items():
            if mask & field.mask:
                now = (value & field.mask) >> field.shift
                after = codes.get(name, range(len(field.states)))
                gates[switch_dimension(layout, name)] = sum(1 << code for code, to in enumerate(after) if to == now)
        if all(gates.values()):
            found.append(gates)
    return tuple(dict.fromkeys(map(given_of, _joined(found))))


def _joined(found: list[dict[Dimension, int]]) -> list[dict[Dimension, int]]:
    """Join those that differ in one switch alone: a switch at one of its many states is then one condition."""
    joined: list[dict[Dimension, int]] = []
    while found:
        gates = found.pop()
        for other in joined:
            differing = [dimension for dimension in gates if other.get(dimension) != gates[dimension]]
            if gates.keys() == other.keys() and len(differing) <= 1:
                for dimension in differing:
                    gates[dimension] |= other[dimension]
                joined.remove(other)
                found.append(gates)
                break
        else:
            joined.append(gates)
    return joined
