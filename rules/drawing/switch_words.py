"""Switches below the picture of a rig: what each can be, what turns it, and what it decides."""

from __future__ import annotations

from collections.abc import Iterator

from rules.fields.when import When
from rules.midi.notation import Naming
from rules.rulefile.press_words import press_words
from rules.rulefile.reading import Reading
from rules.rulefile.rule_tables import OnSwitch, Rule
from rules.rulefile.ruleset import RuleSet
from rules.rulefile.stages import Stage
from rules.rulefile.switch_tables import NumberSwitch, OnOffSwitch, ValueSwitch


def switch_lines(reading: Reading) -> Iterator[tuple[str, str]]:
    """Yield a name and a line for each switch, then for each list of messages that switches send."""
    ruleset = reading.ruleset
    for name, switch in ruleset.switches.items():
        parts = [_states(switch), *_turned_by(switch, reading.switches[name].source.naming)]
        rules = [number for number, rule in enumerate(ruleset.rules, 1) if name in set(_asked_by(rule))]
        if rules:
            parts.append(f"decides in rule{'s' if len(rules) > 1 else ''} {', '.join(map(str, rules))}")
        yield name, "; ".join(parts)
    for sending in ruleset.on_switch:
        yield f"when {sending.when}", "; ".join(_sent(sending))


def turned_from(ruleset: RuleSet) -> dict[str, list[str]]:
    """Return the switches that each port turns."""
    found: dict[str, list[str]] = {}
    for name, switch in ruleset.switches.items():
        for trigger in switch.triggers:
            names = found.setdefault(trigger.source, [])
            if name not in names:
                names.append(name)
    return found


def _states(switch: OnOffSwitch | ValueSwitch | NumberSwitch) -> str:
    if isinstance(switch, OnOffSwitch):
        return "on while held" if switch.mode == "momentary" else f"on or off, {'on' if switch.first else 'off'} first"
    if isinstance(switch, ValueSwitch):
        ends = "" if switch.wrap else ", stops at the ends"
        return f"{', '.join(switch.values)}; {switch.first} first{ends}"
    low, high = switch.numbers
    return f"{low} to {high}, {switch.first} first{', goes round' if switch.wrap else ''}"


def _turned_by(switch: OnOffSwitch | ValueSwitch | NumberSwitch, naming: Naming) -> Iterator[str]:
    if isinstance(switch, OnOffSwitch):
        yield f"by {press_words(switch, naming)}"
        return
    for setting in switch.set:
        yield f"{setting.value}: {press_words(setting, naming)}"
    for advance in switch.advance:
        yield f"{advance.by:+d}: {press_words(advance, naming)}"


def _asked_by(rule: Rule) -> Iterator[str]:
    """Yield the switches that decide something in a rule."""
    chains: list[tuple[Stage, ...]] = [rule.steps]
    conditions: list[When | None] = [rule.when]
    for zone in rule.zones:
        chains.append(zone.steps)
        conditions.append(zone.when)
    for stage in (stage for chain in chains for stage in chain):
        conditions.append(stage.when)
        yield from stage.step.number_switches.values()
    yield from (term.switch for condition in conditions if condition is not None for term in condition.terms)


def _sent(sending: OnSwitch) -> Iterator[str]:
    for name, messages in sending.send.items():
        yield f"sends {len(messages)} message{'s' if len(messages) != 1 else ''} to {name}"
    yield from sending.do
