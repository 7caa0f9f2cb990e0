"""How a switch shall stand, as a person writes it: `song=chorus`, `key=-2`, `up=on` or just `up`."""

from __future__ import annotations

import re

from router.text.formatting import plain
from router.text.usage import UsageError
from rules.midi.suggestions import nearest, those_known
from rules.program.switch_states import State
from rules.rulefile.ruleset import RuleSet
from rules.rulefile.switch_tables import NumberSwitch, OnOffSwitch, ValueSwitch

_ON = ("on", "true", "yes", "1")
_OFF = ("off", "false", "no", "0")


def read_switch(text: str, ruleset: RuleSet) -> tuple[str, State]:
    """Return the switch and how it shall stand. Raises UsageError."""
    name, given, word = (part.strip() for part in text.partition("="))
    switch = ruleset.switches.get(name)
    if switch is None:
        known = those_known("switch", "switches", ruleset.switches)
        raise UsageError(f'there is no switch named "{plain(name)}": {known}{nearest(name, ruleset.switches)}')
    return name, _switch_value(switch, word if given else "on", f'switch "{plain(name)}"')


def _switch_value(switch: OnOffSwitch | ValueSwitch | NumberSwitch, word: str, place: str) -> State:
    if isinstance(switch, ValueSwitch):
        if word in switch.values:
            return word
        raise UsageError(f"{place}: its values are {', '.join(switch.values)}{nearest(word, switch.values)}")
    if isinstance(switch, NumberSwitch):
        low, high = switch.numbers
        if re.fullmatch(r"[+-]?\d+", word) and low <= int(word) <= high:
            return int(word)
        raise UsageError(f"{place}: write a number from {low} to {high}")
    if word.lower() in (*_ON, *_OFF):
        return word.lower() in _ON
    raise UsageError(f"{place}: write on or off")
