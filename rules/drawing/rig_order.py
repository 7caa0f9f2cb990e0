"""A rig with its parts in the order in which the picture shows them: few lines cross."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace

from rules.drawing.crossings import Layers, least_crossings
from rules.drawing.view import Exit, OutputView, RigView, RuleView


def in_order(view: RigView) -> RigView:
    """Return the rig with sources, rules, outputs and the devices of each in another order, and exits in theirs."""
    sources = {source.name: number for number, source in enumerate(view.sources)}
    targets = {name: number for number, name in enumerate(_targets(view.outputs))}
    outputs = [[targets[name] for name in _targets([output])] for output in view.outputs]
    layers = Layers(
        len(sources),
        [[sources[name] for name in rule.sources] for rule in view.rules],
        [[[targets[leaving.target] for leaving in exits] for exits in _branches(rule)] for rule in view.rules],
        outputs,
    )
    order = least_crossings(layers, frozenset(numbers[0] for numbers in outputs))
    reordered = []
    for number in order.outputs:
        output = view.outputs[number]
        first = outputs[number][0] + 1  # the port itself comes before its devices
        devices = tuple(output.devices[target - first] for target in order.targets_of(number)[1:])
        reordered.append(replace(output, devices=devices))
    places = {name: place for place, name in enumerate(_targets(reordered))}
    return replace(
        view,
        sources=tuple(view.sources[number] for number in order.sources),
        rules=tuple(_with_sorted_exits(view.rules[number], places) for number in order.rules),
        outputs=tuple(reordered),
    )


def _targets(outputs: Sequence[OutputView]) -> list[str]:
    """The names that lines can lead to: each port before its devices."""
    return [name for output in outputs for name in (output.port.name, *(device.name for device in output.devices))]


def _branches(rule: RuleView) -> list[tuple[Exit, ...]]:
    return [zone.exits for zone in rule.zones] or [rule.exits]


def _with_sorted_exits(rule: RuleView, places: Mapping[str, int]) -> RuleView:
    """Return a rule whose exits are in the order of their targets, within each zone."""

    def in_their_order(exits: Sequence[Exit]) -> tuple[Exit, ...]:
        return tuple(sorted(exits, key=lambda leaving: places[leaving.target]))

    zones = tuple(replace(zone, exits=in_their_order(zone.exits)) for zone in rule.zones)
    return replace(rule, exits=in_their_order(rule.exits), zones=zones)
