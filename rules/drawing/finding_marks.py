"""Findings as a picture shows them: the gravest first, under numbers, at every part that they are about."""

from __future__ import annotations

from collections.abc import Iterable
from typing import Final

from rules.drawing.view import Mark
from rules.findings.finding import SEVERITIES, Finding
from rules.rulefile.locations import Location

MOST_MARKS: Final = 12
"""How many findings have room below a picture; `check` shows all."""

MOST_WITH_REMARKS: Final = 6
"""Up to how many findings remarks are among them: what is only worth knowing shall not make the picture smaller."""


def marks_of(findings: Iterable[Finding]) -> tuple[tuple[Mark, ...], int]:
    """Return the marks of the gravest findings, and how many more there are."""
    by_severity = sorted(findings, key=lambda finding: SEVERITIES.index(finding.severity))
    grave = sum(finding.severity != "remark" for finding in by_severity)
    amount = min(MOST_MARKS, max(grave, MOST_WITH_REMARKS))
    marks = tuple(
        Mark(
            number,
            finding.severity,
            finding.place.words or finding.place.file,
            f"{finding.label}: {finding.text} {finding.remedy}",
            tuple(place.words for place in finding.others),
        )
        for number, finding in enumerate(by_severity[:amount], 1)
    )
    return marks, len(by_severity) - len(marks)


def marks_at(marks: Iterable[Mark], place: Location) -> tuple[Mark, ...]:
    """Return the marks of what is at a place or inside it, or has a part of it."""
    words = place.words
    return tuple(
        mark
        for mark in marks
        if any(found == words or found.startswith(f"{words},") for found in (mark.place, *mark.others))
    )
