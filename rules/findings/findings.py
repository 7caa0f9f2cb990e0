"""Everything that is wrong or odd in rules that can be read, from the compiled rules; and what of it isn't accepted."""

from __future__ import annotations

from collections.abc import Iterator

from rules.compiler.compiler import Compiler
from rules.findings.accepting import without_accepted
from rules.findings.branch_reach import branch_reaches
from rules.findings.branch_ways import BranchWays
from rules.findings.channel_findings import channel_findings
from rules.findings.clock_findings import clock_findings
from rules.findings.device_findings import device_findings
from rules.findings.din_findings import din_findings
from rules.findings.finding import SEVERITIES, Finding
from rules.findings.loop_findings import loop_findings
from rules.findings.rule_findings import rule_findings
from rules.findings.shared_note_findings import shared_note_findings
from rules.findings.split_findings import split_findings
from rules.findings.switch_findings import switch_findings
from rules.findings.two_ways_findings import two_ways_findings
from rules.rulefile.reading import Reading


def findings_of(reading: Reading) -> tuple[Finding, ...]:
    """Everything that nobody has accepted, in the order of files and lines; at one line the gravest first."""
    files = {name: number for number, name in enumerate(reading.files)}

    def order(finding: Finding) -> tuple[int, int, int]:
        return files[finding.place.file], finding.place.line, SEVERITIES.index(finding.severity)

    return tuple(sorted(without_accepted(dict.fromkeys(_all(reading)), reading), key=order))


def _all(reading: Reading) -> Iterator[Finding]:
    compiler = Compiler(reading.ruleset, ())
    ways = BranchWays(reading)
    yield from channel_findings(compiler, reading, list(branch_reaches(compiler, reading)))
    yield from clock_findings(compiler, ways)
    yield from device_findings(ways)
    yield from rule_findings(ways, compiler)
    yield from split_findings(ways)
    yield from loop_findings(ways)
    yield from shared_note_findings(ways)
    yield from two_ways_findings(ways)
    yield from switch_findings(reading)
    yield from din_findings(ways)
