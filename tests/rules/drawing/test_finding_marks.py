"""Which findings a picture shows."""

from __future__ import annotations

import pytest

from rules.drawing.finding_marks import marks_at, marks_of
from rules.findings.finding import Finding, Severity
from tests.support.rig_views import PORTS, reading_of

READING = reading_of(PORTS + '[[rules]]\nname = "tune"\nfrom = "keys"\nto = "organ"\n')
RULE, ORGAN = READING.rules[0], READING.devices["organ"]


def found(severity: Severity) -> Finding:
    """A finding about a step of the rule, in which the organ has a part."""
    return Finding("kind", severity, RULE.inside("steps", 0), "It is so.", "Write this.", others=(ORGAN,))


@pytest.mark.parametrize(
    ("mistakes", "doubts", "remarks", "shown", "more"),
    [(1, 2, 1, "mddr", 0), (0, 2, 9, "ddrrrr", 5), (2, 6, 3, "mmdddddd", 3), (3, 20, 1, "mmmddddddddd", 12)],
)
def test_the_gravest_come_first(mistakes: int, doubts: int, remarks: int, shown: str, more: int) -> None:
    """Twelve at most, with remarks only the first six; how many more there are is said."""
    findings = [found("remark")] * remarks + [found("doubt")] * doubts + [found("mistake")] * mistakes
    marks, others = marks_of(findings)
    assert "".join(mark.severity[0] for mark in marks) == shown
    assert others == more
    assert [mark.number for mark in marks] == list(range(1, len(marks) + 1))


def test_a_mark_stands_at_all_that_it_is_about() -> None:
    """At the rule of its step, and at what else has a part in it; nowhere else."""
    marks, _ = marks_of([found("doubt")])
    assert [mark.label for mark in marks_at(marks, RULE)] == ["doubt 1"]
    assert [mark.text for mark in marks_at(marks, ORGAN)] == ["kind: It is so. Write this."]
    assert marks_at(marks, READING.devices["kit"]) == ()
