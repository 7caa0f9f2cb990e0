"""What turns switches and asks our clock for something, as nodes.

Some wait for a release, since a longer press does something else.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from functools import partial

from rules.compiler.chain import Nodes
from rules.compiler.sources import PulledTrigger
from rules.program.clock_orders import TAP_ORDER
from rules.program.tables import NodeKey
from rules.rulefile.ruleset import RuleSet
from rules.rulefile.switch_tables import AdvanceTrigger, OnOffSwitch, SetTrigger, Trigger
from rules.steps.clock_trigger_node import ClockTriggerNode
from rules.steps.press_node import AT_PRESS
from rules.steps.trigger_node import TriggerNode


def pulled_triggers(ruleset: RuleSet, nodes: Nodes) -> Mapping[str, list[PulledTrigger]]:
    """Return what turns switches, then what our clock is asked for, by source, in file order."""
    every = [trigger for switch in ruleset.switches.values() for trigger in switch.triggers]
    pulls = ruleset.clock.triggers()
    every += (trigger for triggers in pulls.values() for trigger in triggers)
    found: dict[str, list[PulledTrigger]] = {}
    for name, key, trigger in _placed(ruleset):
        node = nodes.get((trigger.source, "switch", name, *key), partial(_node, name, trigger, every))
        found.setdefault(trigger.source, []).append(PulledTrigger(trigger, node))
    for order, triggers in pulls.items():
        for number, trigger in enumerate(triggers):
            asking = nodes.get((trigger.source, "clock", order, number), partial(_asking, order, trigger, every))
            found.setdefault(trigger.source, []).append(PulledTrigger(trigger, asking))
    return found


def _placed(ruleset: RuleSet) -> Iterator[tuple[str, NodeKey, Trigger]]:
    """Yield every trigger with the name of its switch, and its key within that."""
    for name, switch in ruleset.switches.items():
        if isinstance(switch, OnOffSwitch):
            yield name, (), switch
            continue
        for number, chosen in enumerate(switch.set):
            yield name, ("set", number), chosen
        for number, advanced in enumerate(switch.advance):
            yield name, ("advance", number), advanced


def _node(switch: str, trigger: Trigger, every: Iterable[Trigger]) -> TriggerNode:
    momentary = isinstance(trigger, OnOffSwitch) and trigger.mode == "momentary"
    return TriggerNode(
        switch,
        signal=_signal(trigger),
        pass_on=trigger.pass_on,
        momentary=momentary,
        state=trigger.value if isinstance(trigger, SetTrigger) else None,
        by=trigger.by if isinstance(trigger, AdvanceTrigger) else None,
        long=trigger.long or 0,
        patience=AT_PRESS if momentary or trigger.long is not None else patience(trigger, every),
    )


def _asking(order: str, trigger: Trigger, every: Iterable[Trigger]) -> ClockTriggerNode:
    return ClockTriggerNode(
        order,
        signal=_signal(trigger),
        pass_on=trigger.pass_on,
        long=trigger.long or 0,
        patience=AT_PRESS if trigger.long is not None or order == TAP_ORDER else patience(trigger, every),
    )


def _signal(trigger: Trigger) -> tuple[object, ...]:
    channels = None if trigger.channel is None else tuple(sorted(trigger.channel))
    return channels, trigger.note, trigger.controller, trigger.program, trigger.kind


def patience(trigger: Trigger, others: Iterable[Trigger]) -> tuple[int, ...]:
    """Return for each channel, 0 to 15, how many ms a press may last to be a short one; 0: it acts at once."""
    found = [0] * 16
    for other in others:
        if other.long is not None:
            for channel in trigger.shared_channels(other):
                found[channel - 1] = min(found[channel - 1] or other.long, other.long)
    return tuple(found)
