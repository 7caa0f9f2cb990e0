"""Which source's clock and transport go out at each output (ruling 26), for compiler, `check` and `trace` alike."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field

from rules.rulefile.rule_tables import Rule
from rules.rulefile.ruleset import RuleSet


@dataclass(frozen=True, slots=True)
class ClockChoice:
    """Where the clock of one output comes from, and which rules had a say in it.

    `source` is None where none goes out, and `OWN` where ours does. `whole` holds the sources whose rules play all into
    the output, `left` those with an `otherwise` rule, each with the number of its first such rule, counted from 0. Both
    are empty where the rule file says which source is meant, or "none".
    """

    source: str | None
    whole: Mapping[str, int] = field(default_factory=dict)
    left: Mapping[str, int] = field(default_factory=dict)

    @property
    def rivals(self) -> Mapping[str, int]:
        """The sources of which any could be meant, with the numbers of their rules; empty where one alone could be."""
        found = {**self.left, **self.whole}
        return {name: found[name] for name in (*self.whole, *self.left)} if len(found) > 1 else {}


def clock_choices(ruleset: RuleSet) -> Mapping[str, ClockChoice]:
    """The choice for every output of a checked rule set, in file order."""
    whole = _first_rules(ruleset, otherwise=False)
    left = _first_rules(ruleset, otherwise=True)
    return {
        name: _choice(port.clock, whole.get(name, {}), left.get(name, {}))
        for name, port in ruleset.ports.items()
        if port.can_send
    }


def _choice(written: str | None, whole: Mapping[str, int], left: Mapping[str, int]) -> ClockChoice:
    if written is not None:
        return ClockChoice(None if written == "none" else written)
    # Who plays all into an output is meant before who plays there what other rules left over.
    candidates = whole or left
    return ClockChoice(next(iter(candidates)) if len(candidates) == 1 else None, whole, left)


def _first_rules(ruleset: RuleSet, *, otherwise: bool) -> Mapping[str, Mapping[str, int]]:
    """By output, the sources that a rule without `match` leads there, each with the number of its first one."""
    found: dict[str, dict[str, int]] = {}
    for number, rule in enumerate(ruleset.rules):
        if rule.match or rule.otherwise != otherwise:
            continue
        for port in map(ruleset.port_of, _names(rule)):
            sources = found.setdefault(port, {})
            for source in rule.source:
                sources.setdefault(source, number)
    return found


def _names(rule: Rule) -> Iterator[str]:
    """The devices and ports that a rule leads to."""
    for branch in rule.branches():
        for outlet in branch.outlets:
            yield from outlet.to
