"""Rules and zones of which nothing comes: no message matches them, or all that matches is dropped on the way."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace

from rules.compiler.compiler import Compiler
from rules.compiler.sources import RuleCondition
from rules.compiler.switch_guards import guard_of
from rules.findings.branch_reach import ALL_MESSAGES, port_reach, taken_by
from rules.findings.branch_ways import Branch, BranchWays, whole
from rules.findings.examples import example, friendly
from rules.findings.finding import Finding, Severity
from rules.program.guards import ALWAYS, both


def rule_findings(ways: BranchWays, compiler: Compiler) -> Iterator[Finding]:
    """All of these."""
    for branch in ways.branches:
        if branch.label in ways.entering:
            yield from _all_lost(ways, branch)
        elif branch.zone is None:
            yield _never_matching(ways, compiler, branch)
        elif whole(branch.number) in ways.entering:
            yield _silent_zone(compiler, branch)
        elif branch.zone_number == 0:
            yield _never_matching(ways, compiler, branch)


def _all_lost(ways: BranchWays, branch: Branch) -> Iterator[Finding]:
    """A rule or zone that matches, and sends nothing: not the one whose `to` is empty, which says so."""
    if branch.label in ways.leaving or not branch.destinations:
        return
    entering = min(ways.entering[branch.label], key=lambda each: friendly(each.way.status))
    what = "rule" if branch.zone is None else "zone"
    yield Finding(
        "all lost",
        "mistake",
        branch.place,
        f"Everything that this {what} matches is dropped before it arrives.",
        "Correct its filters, ranges or channels, or write `to = []` if it is meant to discard. "
        "`pointsman trace` shows where the example ends.",
        about="" if branch.zone is None else f"zone {branch.zone_name}",
        example=example(ways.pipeline, entering),
    )


def _never_matching(ways: BranchWays, compiler: Compiler, branch: Branch) -> Finding:
    """A rule that no message matches, and why."""
    severity, text, remedy = _why_not(ways, compiler, branch)
    return Finding("never matches", severity, branch.rule_place, text, remedy)


def _why_not(ways: BranchWays, compiler: Compiler, branch: Branch) -> tuple[Severity, str, str]:
    rule = branch.rule
    asked = RuleCondition(branch.number, rule, None, ALWAYS)
    if not taken_by(asked, ALL_MESSAGES):
        return "mistake", "Its `match` asks for what no message has.", "Ask for less."
    if rule.when is not None and not guard_of(compiler.layout, rule.when):
        return "mistake", "Its `when` is never true.", "Correct the condition."
    for take_away, text in (
        (_left_by_port, "The steps of its port drop all that it asks for."),
        (_left_by_switches, "Switches take all that it asks for, and pass nothing on."),
    ):
        if not any(take_away(ways, compiler, asked, source) for source in rule.source):
            return "doubt", text, "Change one of the two, or remove the rule."
    return "doubt", "Other rules match everything that could come here.", "Remove it, or narrow the others."


def _left_by_port(ways: BranchWays, compiler: Compiler, asked: RuleCondition, source: str) -> bool:
    """Return whether the steps of a port leave anything that a rule asks for."""
    _, forms = port_reach(compiler, source, ways.reading.ports[source])
    return bool(taken_by(asked, [*forms, *(form for form in ALL_MESSAGES if form.status > 0xF0)]))


def _left_by_switches(ways: BranchWays, compiler: Compiler, asked: RuleCondition, source: str) -> bool:
    """Return whether what passes the switches of a source has anything that a rule asks for."""
    _, forms = port_reach(compiler, source, ways.reading.ports[source])
    entry = compiler.entry(source, ())
    return any(taken_by(asked, entry.let_in(form)) for form in forms)


def _silent_zone(compiler: Compiler, branch: Branch) -> Finding:
    """A zone of a rule that matches, though the zone never does."""
    assert branch.zone is not None
    asked = RuleCondition(branch.number, branch.rule, branch.zone, ALWAYS)
    guard = both(guard_of(compiler.layout, branch.rule.when), guard_of(compiler.layout, branch.zone.when))
    contradicts = not taken_by(asked, ALL_MESSAGES) or not taken_by(replace(asked, guard=guard), ALL_MESSAGES)
    return Finding(
        "never matches",
        "mistake" if contradicts else "doubt",
        branch.place,
        "No message matches both the rule and this zone."
        if contradicts
        else "What this zone asks for never comes to the rule.",
        "Correct the conditions of one of the two, or remove the zone.",
        about=f"zone {branch.zone_name}",
    )
