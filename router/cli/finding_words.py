"""Findings as `check` prints them: in words within 80 columns, and as data."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from typing import TYPE_CHECKING, Any, Final

from router.text.formatting import number, plain
from router.text.message_data import message_data
from router.text.paragraphs import wrapped
from rules.errors import MOST_PROBLEMS

if TYPE_CHECKING:
    from rules.findings.finding import Finding, Severity
    from rules.rulefile.locations import Location

_TITLES: Final[Mapping[Severity, str]] = {
    "mistake": "Mistakes:",
    "doubt": "Worth a second look:",
    "remark": "Worth knowing:",
}


def finding_lines(findings: Sequence[Finding]) -> Iterator[str]:
    """Yield the lines for findings, a section for each severity, and how to accept one. Nothing where none is."""
    for severity, title in _TITLES.items():
        those = [finding for finding in findings if finding.severity == severity]
        if not those:
            continue
        yield from ("", title)
        for finding in those[:MOST_PROBLEMS]:
            yield from _lines(finding)
        yield from more(len(those))
    meant = next((finding for finding in findings if finding.kind != "not found"), None)
    if meant is not None:
        yield ""
        yield from wrapped("Is one of them meant? Write it next to its rule, device, port or switch, as in")
        yield f'  accept = {{ "{plain(meant.label)}" = "your reason" }}'


def more(amount: int) -> list[str]:
    """Return the line that counts what isn't shown, if anything isn't."""
    return [f"  ... and {number(amount - MOST_PROBLEMS)} more"] if amount > MOST_PROBLEMS else []


def _lines(finding: Finding) -> Iterator[str]:
    yield from wrapped(f"{_at(finding.place)}: {finding.label}", "  ", "    ")
    yield from wrapped(finding.text, "    ", "    ")
    if finding.example is not None:
        yield from wrapped(f"Example: {finding.example.words(finding.naming)}", "    ", "    ")
    if finding.others:
        yield from wrapped(f"With: {', '.join(map(_at, finding.others))}", "    ", "    ")
    yield from wrapped(finding.remedy, "    ", "    ")


def _at(place: Location) -> str:
    words = place.words
    return f"{place}: {words}" if words else str(place)


def finding_data(finding: Finding) -> dict[str, Any]:
    """Return a finding for programs."""
    example = finding.example
    return {
        "finding": finding.label,
        "kind": finding.kind,
        "severity": finding.severity,
        **_place_data(finding.place),
        "text": finding.text,
        "remedy": finding.remedy,
        "example": None
        if example is None
        else {
            "from": example.source,
            **message_data(example.message, finding.naming),
            "switches": dict(example.switches),
        },
        "with": [_place_data(place) for place in finding.others],
    }


def _place_data(place: Location) -> dict[str, Any]:
    return {"file": place.file, "line": place.line, "place": place.words}
