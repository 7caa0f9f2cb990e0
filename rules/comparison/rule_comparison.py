"""Everything that differs between two rule sets, in words: messages first, then ports, clock, switches and setups."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

from rules.comparison.comparison import compare
from rules.comparison.comparison_words import ChangedMessages, changed_messages
from rules.comparison.rig_differences import rig_differences
from rules.midi.notation import STANDARD, Naming
from rules.program.pipeline import Pipeline
from rules.rulefile.ruleset import RuleSet

MOST_LINES: Final = 10
"""How many lines the log has of a comparison."""


@dataclass(frozen=True, slots=True)
class RuleComparison:
    """What became of messages, and lines for all that differs beside."""

    messages: tuple[ChangedMessages, ...]
    rig: tuple[str, ...]

    def lines(self) -> list[str]:
        """Return all of it, a line each; none where both rule sets play the same."""
        return [*(changed.text for changed in self.messages), *self.rig]

    def in_short(self) -> list[str]:
        """Return the first lines, at most ten; the last says how many more there are."""
        lines = self.lines()
        if len(lines) <= MOST_LINES:
            return lines
        return [*lines[: MOST_LINES - 1], f"... and {len(lines) - MOST_LINES + 1:,} more differences"]


def compare_rules(
    old: tuple[RuleSet, Pipeline], new: tuple[RuleSet, Pipeline], naming: Naming = STANDARD
) -> RuleComparison:
    """Compare two rule sets, each with what it was compiled to. Notes and programs are written by `naming`."""
    comparison = compare(old[1], new[1])
    messages = changed_messages(comparison, old[0], new[0], naming)
    while comparison.differences:  # one by one: thousands, freed in one go, would hold up the music
        comparison.differences.pop()
    return RuleComparison(tuple(messages), tuple(rig_differences(old[0], new[0], naming)))
