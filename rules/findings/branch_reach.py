"""What can come along each branch of the compiled rules, step by step, and where the branch is written."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from typing import Final

from rules.compiler.chain import OutletLink, StepLink, identity_forms
from rules.compiler.compiler import Compiler
from rules.compiler.reach import through
from rules.compiler.sources import BranchEntry, BranchPlan, RuleCondition
from rules.midi.messages import SYSEX
from rules.program.forms import Form
from rules.rulefile.locations import Location
from rules.rulefile.reading import Reading

ALL_MESSAGES: Final = tuple(identity_forms())
_CHANNEL_MESSAGES: Final = tuple(form for form in ALL_MESSAGES if form.status < SYSEX)


@dataclass(frozen=True, slots=True)
class ReachedStep:
    """A step, where it is written, and every form that can come to it."""

    link: StepLink
    place: Location
    arriving: Sequence[Form]


@dataclass(frozen=True, slots=True)
class BranchReach:
    """A rule or one of its zones, where they are written, and every form that can come to its steps and its `to`."""

    plan: BranchPlan
    rule_place: Location
    place: Location
    steps: Sequence[ReachedStep]
    outlet: OutletLink
    leaving: Sequence[Form]


def branch_reaches(compiler: Compiler, reading: Reading) -> Iterator[BranchReach]:
    """All branches, in the order of the rules; what `otherwise` and triggers keep from a rule isn't looked at."""
    arriving = {name: port_reach(compiler, name, reading.ports[name])[1] for name in compiler.sources}
    for plan in compiler.branches:
        forms = dict.fromkeys(form for name in plan.rule.source for form in arriving[name])
        yield _reach(plan, reading.rules[plan.number], forms)


def port_reach(compiler: Compiler, name: str, place: Location) -> tuple[Sequence[ReachedStep], Sequence[Form]]:
    """The steps of a port, and every form that can come out of them."""
    return _along(
        [(link, _step_place(place, at)) for at, link in enumerate(compiler.port_steps(name))], _CHANNEL_MESSAGES
    )


def taken_by(condition: RuleCondition, forms: Iterable[Form]) -> list[Form]:
    """The parts of some forms that a rule or zone takes."""
    entry = BranchEntry(condition)
    statuses = entry.statuses()
    return through(entry, (form for form in forms if form.status in statuses))


def _reach(plan: BranchPlan, rule_place: Location, forms: Iterable[Form]) -> BranchReach:
    place = rule_place if plan.zone is None else rule_place.inside("zones", plan.zone_number)
    of_rule = len(plan.rule.steps)
    placed = [
        (link, _step_place(rule_place, at) if at < of_rule else _step_place(place, at - of_rule))
        for at, link in enumerate(plan.steps)
    ]
    steps, leaving = _along(placed, taken_by(plan, forms))
    return BranchReach(plan, rule_place, place, steps, plan.outlet, leaving)


def _step_place(place: Location, number: int) -> Location:
    return place.inside("steps", number)


def _along(
    links: Iterable[tuple[StepLink, Location]], forms: Sequence[Form]
) -> tuple[Sequence[ReachedStep], Sequence[Form]]:
    steps = []
    for link, place in links:
        steps.append(ReachedStep(link, place, forms))
        forms = through(link, forms)
    return steps, forms
