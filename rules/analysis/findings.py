"""What is allowed in rule files, and yet odd enough to be mentioned: asked of the compiled rules."""

from __future__ import annotations

import itertools
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import replace
from typing import Final

from rules.analysis.branch_reach import ALL_MESSAGES, BranchReach, ReachedStep, branch_reaches, port_reach, taken_by
from rules.analysis.clock_findings import rival_clocks
from rules.analysis.device_findings import device_hints
from rules.compiler.compiler import Compiler
from rules.errors import Problem
from rules.fields.matching import NOTE_STATUSES
from rules.program.forms import Form
from rules.program.guards import ALWAYS
from rules.rulefile.reading import Reading, in_order

_ALL_CHANNELS: Final = frozenset(range(1, 17))


def hints_of(reading: Reading) -> tuple[Problem, ...]:
    """Everything that may be meant, but is worth a second look, in the order of files and lines."""
    return in_order(_hints(reading), reading.files)


def _hints(reading: Reading) -> Iterator[Problem]:
    compiler = Compiler(reading.ruleset, ())
    branches = list(branch_reaches(compiler, reading))
    for _, of_rule in itertools.groupby(branches, lambda branch: branch.plan.number):
        yield from _folding(compiler, list(of_rule))
    for branch in branches:
        yield from _doubtful_steps(branch.steps)
        yield from _never_matching(branch)
    for name, place in reading.ports.items():
        yield from _doubtful_steps(port_reach(compiler, name, place)[0])
    yield from rival_clocks(compiler, reading)
    yield from device_hints(compiler, reading, branches)


def _folding(compiler: Compiler, branches: Sequence[BranchReach]) -> Iterator[Problem]:
    """All sixteen channels put into a device's one by a rule (ruling 8)."""
    found: dict[str, int] = {}
    for branch in branches:
        if _channels(branch.leaving) < _ALL_CHANNELS:
            continue
        for name in (name for outlet in branch.outlet.outlets if outlet.channels is None for name in outlet.to):
            device = compiler.ruleset.devices.get(name)
            if device is not None and device.channel is not None:
                found[name] = device.channel
    if found:
        names = ", ".join(f'"{name}" (channel {channel})' for name, channel in found.items())
        text = f"all 16 channels go into one at {names}: if you mean only some, name them in `match`"
        yield branches[0].rule_place.problem(text)


def _doubtful_steps(steps: Iterable[ReachedStep]) -> Iterator[Problem]:
    """Return what a step itself finds odd about the notes that come to it."""
    for step in steps:
        notes = [form for form in step.arriving if form.kind in NOTE_STATUSES]
        for text in step.link.step.doubts(_channels(notes)):
            yield step.place.problem(text)


def _channels(forms: Iterable[Form]) -> frozenset[int]:
    return frozenset(form.channel for form in forms if form.channel is not None)


def _never_matching(branch: BranchReach) -> Iterator[Problem]:
    """A zone that asks for what the rule's `match` never lets through, whatever the switches are at."""
    plan = branch.plan
    if plan.zone is None or not plan.rule.match:
        return
    if not taken_by(replace(plan, guard=ALWAYS), ALL_MESSAGES):
        yield branch.place.problem("no message matches both the rule and this zone: the zone stays silent")
