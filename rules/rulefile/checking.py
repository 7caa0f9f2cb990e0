"""What needs all rule files together: whether names exist, and whether each is used as what it is.

One small check for each concern. A name whose own table is faulty counts as known, so that one mistake gives one error.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator
from dataclasses import replace
from typing import Final

from rules.errors import Problem
from rules.fields.conditions import SIGNAL_KINDS, Condition
from rules.fields.written_messages import DelayedMessage
from rules.rulefile.checking_chains import check_combinations, check_copies, check_ways
from rules.rulefile.checking_promises import check_promises
from rules.rulefile.checking_songs import check_songs
from rules.rulefile.checking_switches import check_number_switches, check_states, check_when
from rules.rulefile.checking_tests import check_tests
from rules.rulefile.clock_table import OWN
from rules.rulefile.draft import Draft, Placed, PlacedBranch, all_branches, placed_branches, staged
from rules.rulefile.locations import Location
from rules.rulefile.outline import is_whole
from rules.rulefile.port_tables import Device
from rules.rulefile.references import destination_fault, port_fault, source_fault
from rules.rulefile.stages import Stage

Check = Callable[[Draft], Iterator[Problem]]


def check(draft: Draft) -> Iterator[Problem]:
    """Everything that is wrong with the files taken together."""
    too_many = list(check_ways(draft))
    yield from too_many
    for one in () if too_many else CHECKS:
        yield from one(draft)


def check_outlines(draft: Draft) -> Iterator[Problem]:
    """The names in rules that have another fault too, so that all is told at once."""
    outlined = replace(draft, rules=draft.outlines)
    yield from check_sources(outlined)
    yield from check_destinations(outlined)
    yield from check_conditions_on_switches(outlined)
    yield from check_number_switches(draft, (entry for entry in _all_stages(outlined) if is_whole(entry.value)))


def check_ports(draft: Draft) -> Iterator[Problem]:
    """The clock of an output comes from a port, from us, or from none."""
    for entry in draft.ports.values():
        clock = entry.value.clock
        if clock not in (None, "none", OWN) and (fault := source_fault(draft, clock)):
            yield entry.place.inside("clock").problem(fault)


def check_clock(draft: Draft) -> Iterator[Problem]:
    """Our clock follows, and is pulled from, ports that can receive; it doesn't follow what hears it."""
    for entry in draft.clocks:
        followed = entry.value.follow
        if followed is not None:
            place = entry.place.inside("follow")
            if fault := source_fault(draft, followed):
                yield place.problem(fault)
            elif followed in draft.ports and draft.ports[followed].value.clock == OWN:
                cure = "name another port, or give it another `clock`"
                text = f'"{followed}" hears your clock, and can\'t set it as well: {cure}'
                yield place.problem(text)
        for key, triggers in entry.value.triggers().items():
            for number, trigger in enumerate(triggers):
                if fault := source_fault(draft, trigger.source):
                    yield entry.place.inside(key, number, "from").problem(fault)


def check_devices(draft: Draft) -> Iterator[Problem]:
    """A device is at a port that can send, what returns comes to an input, and its channel isn't set twice."""
    for entry in draft.devices.values():
        device = entry.value
        if fault := port_fault(draft, device.port):
            yield entry.place.inside("port").problem(fault)
        if device.returns is not None and (fault := source_fault(draft, device.returns)):
            yield entry.place.inside("returns").problem(fault)
        yield from _other_channels(device, device.setup, entry.place.inside("setup"))
        stages = list(staged(device.steps, entry.place))
        if stages and device.channel is not None and stages[-1].value.step.only_rechannels:
            text = f"the device is on channel {device.channel} anyway, so this changes nothing: remove one of them"
            yield stages[-1].place.problem(text)


def _other_channels(device: Device, messages: Iterable[DelayedMessage], place: Location) -> Iterator[Problem]:
    """Messages for a device need no channel, and mustn't have another than its own."""
    for number, message in enumerate(messages):
        channel = message.message.channel
        if device.channel is not None and channel not in (None, device.channel):
            text = f"channel {channel}, but the device is on {device.channel}: remove the channel"
            yield place.inside(number).problem(text)


def check_sources(draft: Draft) -> Iterator[Problem]:
    """Rules listen to ports that can receive."""
    for entry in draft.rules:
        for number, name in enumerate(entry.value.source):
            if fault := source_fault(draft, name):
                yield entry.place.inside("from", number).problem(fault)


def check_destinations(draft: Draft) -> Iterator[Problem]:
    """Rules lead to devices, and to ports that can send."""
    for branch in all_branches(draft):
        for number, outlet in enumerate(branch.branch.outlets):
            line = branch.outlets_place if outlet.channels is None else branch.outlets_place.inside(number)
            for position, name in enumerate(outlet.to):
                if fault := destination_fault(draft, name):
                    yield line.inside(position).problem(fault)


def check_triggers(draft: Draft) -> Iterator[Problem]:
    """Switches are turned by what arrives on a port that can receive."""
    for entry in draft.triggers():
        if fault := source_fault(draft, entry.value.source):
            yield entry.place.inside("from").problem(fault)


def check_turns(draft: Draft) -> Iterator[Problem]:
    """Yield what is wrong with `[[on_switch]]`: messages go to devices, and to ports that can send."""
    for entry in draft.on_switch:
        for name, messages in entry.value.send.items():
            place = entry.place.inside("send", name)
            if fault := destination_fault(draft, name):
                yield place.problem(fault)
            elif name in draft.devices:
                yield from _other_channels(draft.devices[name].value, messages, place)


def check_conditions_on_switches(draft: Draft) -> Iterator[Problem]:
    """Every `when` asks for switches that exist, and for what they can be."""
    for entry in draft.rules:
        yield from check_when(draft, entry.value.when, entry.place.inside("when"))
        for number, zone in enumerate(entry.value.zones):
            yield from check_when(draft, zone.when, entry.place.inside("zones", number, "when"))
    for stage in _all_stages(draft):
        yield from check_when(draft, stage.value.when, stage.place.inside("when"))
    for turned in draft.on_switch:
        yield from check_when(draft, turned.value.when, turned.place.inside("when"))


def check_transpositions(draft: Draft) -> Iterator[Problem]:
    """`transpose` by name goes by a number switch."""
    yield from check_number_switches(draft, _all_stages(draft))


def check_last_rechannel(draft: Draft) -> Iterator[Problem]:
    """`rechannel` right before devices with a channel changes nothing (ruling 8)."""
    last: dict[Location, list[PlacedBranch]] = {}
    inside: set[Location] = set()
    for branch in all_branches(draft):
        for number, entry in enumerate(branch.stages, start=1):
            if entry.value.step.only_rechannels:
                if number == len(branch.stages):
                    last.setdefault(entry.place, []).append(branch)
                else:
                    inside.add(entry.place)
    for place, ends in last.items():
        outlets = [outlet for branch in ends for outlet in branch.branch.outlets]
        names = list(dict.fromkeys(name for outlet in outlets for name in outlet.to))
        by_channel = any(outlet.channels is not None for outlet in outlets)
        fixed = [name for name in names if name in draft.devices and draft.devices[name].value.channel is not None]
        if names and fixed == names and not by_channel and place not in inside:
            channels = " and ".join(f'"{name}" on {draft.devices[name].value.channel}' for name in fixed)
            yield place.problem(f"the devices set the channel last ({channels}), so this changes nothing: remove it")


def check_kinds(draft: Draft) -> Iterator[Problem]:
    """Note-offs by themselves, clock and transport may only start a `send` (rulings 3, 4, 26)."""
    for entry in draft.rules:
        ways = list(placed_branches(entry))
        sends = all(_any_writes(way.stages) for way in ways)
        for number, condition in enumerate(entry.value.match):
            yield from _only_to_send(condition, entry.place.inside("match", number), sends)
        for way in ways:
            if way.branch.zone is not None:
                yield from _only_to_send(way.branch.zone, way.place, _any_writes(way.stages))
            yield from _filters_kinds(way.stages)
    for name, port in draft.ports.items():
        yield from _filters_kinds(tuple(staged(port.value.steps, draft.ports[name].place)))
    for device in draft.devices.values():
        yield from _filters_kinds(tuple(staged(device.value.steps, device.place)))


def _filters_kinds(stages: tuple[Placed[Stage], ...]) -> Iterator[Problem]:
    for number, entry in enumerate(stages):
        step = entry.value.step
        for key, conditions in step.conditions.items():
            sends = _any_writes(stages[number + 1 :])
            for position, condition in enumerate(conditions):
                yield from _only_to_send(condition, entry.place.inside(step.key, key, position), sends)


def _any_writes(stages: Iterable[Placed[Stage]]) -> bool:
    return any(stage.value.step.writes_messages for stage in stages)


def _only_to_send(condition: Condition, place: Location, sends: bool) -> Iterator[Problem]:
    kinds = condition.kind or frozenset()
    if sends:
        return
    if "note-off" in kinds and not kinds & {"note", "note-on"}:
        text = 'note-offs go with their note-ons: write "note-on" for both. "note-off" alone needs a `send` step'
        yield place.inside("kind").problem(text)
    if signals := sorted(kinds & SIGNAL_KINDS):
        text = f'"{signals[0]}" needs a `send` step: clock and transport go by port (`clock`), not by rule'
        yield place.inside("kind").problem(text)


def check_chase(draft: Draft) -> Iterator[Problem]:
    """`chase` needs a switch that opens the rule."""
    for entry in draft.rules:
        rule = entry.value
        if rule.chase and rule.when is None and all(zone.when is None for zone in rule.zones):
            text = "no switch opens this rule, so there is nothing to chase: give the rule or a zone a `when`"
            yield entry.place.inside("chase").problem(text)


def _all_stages(draft: Draft) -> Iterator[Placed[Stage]]:
    for named in (draft.ports, draft.devices):
        for part in named.values():
            yield from staged(part.value.steps, part.place)
    for rule in draft.rules:
        yield from staged(rule.value.steps, rule.place)
        for number, zone in enumerate(rule.value.zones):
            yield from staged(zone.steps, rule.place.inside("zones", number))


CHECKS: Final[tuple[Check, ...]] = (
    check_outlines,
    check_ports,
    check_clock,
    check_devices,
    check_sources,
    check_destinations,
    check_triggers,
    check_songs,
    check_states,
    check_turns,
    check_conditions_on_switches,
    check_transpositions,
    check_last_rechannel,
    check_kinds,
    check_chase,
    check_combinations,
    check_copies,
    check_tests,
    check_promises,
)
