"""Two rule sets compared by brute force: message by message, state by state, for whatever may be remembered."""

from __future__ import annotations

from collections.abc import Hashable, Sequence
from typing import Any

from rules.rulefile.ruleset import RuleSet
from tests.support.brute_force import Arrival, BruteForce, Switches, is_of_pair

Changes = set[tuple[frozenset[Arrival], frozenset[Arrival]]]
"""What no longer arrives and what newly does, for each thing that may be remembered and makes a difference."""


class BruteComparison:
    """Follows messages through two rule sets that remember the same."""

    def __init__(self, old: RuleSet, new: RuleSet, values: Sequence[int]) -> None:
        self._sides = [BruteForce(ruleset, values) for ruleset in (old, new)]

    def changes(self, source: str, message: bytes, switches: Switches) -> Changes:
        """How what one message becomes differs; empty if it doesn't. Both must have the switches."""
        found: Changes = set()
        tellings: list[dict[Hashable, int]] = [{}]
        while tellings:
            told, others = tellings.pop(), list[dict[Hashable, int]]()
            outcomes = []
            for side in self._sides:
                names = side.ruleset.ports
                comes = source in names and names[source].can_receive
                own = {name: switches[name] for name in side.ruleset.switches}
                script = side.script(told, named=_name_of)
                outcomes.append(frozenset(side.run(source, message, own, script)) if comes else frozenset[Arrival]())
                told = script.told
                others += script.others
            tellings += others
            before, now = outcomes
            if before != now:
                found.add((before - now, now - before))
        return found


def _name_of(key: Any) -> Hashable:
    """What is remembered, known by the messages that it goes by: not by the rule or step that remembers it."""
    if key[0] == "thin":
        return "thin", key[2]
    if key[0] == "pressed":
        return tuple(key[2])
    if is_of_pair(key):
        return "pair", key[-1]
    place = 4 if key[0] == "zone" else 3
    return tuple(key[place:]) if len(key) == place + 2 else ("note", *key[-2:])
