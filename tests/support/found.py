"""Findings of a rule file, in short."""

from __future__ import annotations

from rules.findings.finding import Finding
from rules.findings.findings import findings_of
from rules.rulefile.reading import read_rule_set


def found(rules: str, *kinds: str) -> list[Finding]:
    """What is found in a rule file called rules.toml: of these kinds, or of all."""
    findings = findings_of(read_rule_set([("rules.toml", rules.encode())]))
    return [finding for finding in findings if not kinds or finding.kind in kinds]


def told(rules: str, *kinds: str) -> list[str]:
    """Return where each of them is, and its label: `rule "one": split gap: C4`."""
    return [f"{finding.place.words}: {finding.label}" for finding in found(rules, *kinds)]


def shown(finding: Finding) -> str:
    """The example of a finding in words."""
    assert finding.example is not None
    return finding.example.words(finding.naming)
