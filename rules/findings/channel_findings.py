"""Channels that go where they are hardly meant to go: all into one, or drums along with the tune."""

from __future__ import annotations

import itertools
from collections.abc import Iterable, Iterator, Sequence
from typing import Final

from rules.compiler.compiler import Compiler
from rules.fields.matching import NOTE_STATUSES
from rules.findings.branch_reach import BranchReach, ReachedStep, port_reach
from rules.findings.finding import Finding
from rules.program.forms import Form
from rules.rulefile.reading import Reading

_ALL_CHANNELS: Final = frozenset(range(1, 17))


def channel_findings(compiler: Compiler, reading: Reading, branches: Sequence[BranchReach]) -> Iterator[Finding]:
    """All of these; `branches` are the ways through the rules, in their order."""
    for _, of_rule in itertools.groupby(branches, lambda branch: branch.plan.number):
        yield from _all_into_one(compiler, list(of_rule))
    for branch in branches:
        yield from _doubtful_steps(branch.steps)
    for name, place in reading.ports.items():
        yield from _doubtful_steps(port_reach(compiler, name, place)[0])


def _all_into_one(compiler: Compiler, branches: Sequence[BranchReach]) -> Iterator[Finding]:
    """All sixteen channels put into a device's one by a rule (ruling 8)."""
    found: dict[str, int] = {}
    for branch in branches:
        if _channels(branch.leaving) < _ALL_CHANNELS:
            continue
        for name in (name for outlet in branch.outlet.outlets if outlet.channels is None for name in outlet.to):
            device = compiler.ruleset.devices.get(name)
            if device is not None and device.channel is not None:
                found[name] = device.channel
    for name, channel in found.items():
        yield Finding(
            "all channels",
            "doubt",
            branches[0].rule_place,
            f'All 16 channels go into channel {channel} of "{name}".',
            "If you mean only some, name them in `match`.",
            about=name,
        )


def _doubtful_steps(steps: Iterable[ReachedStep]) -> Iterator[Finding]:
    """Return what a step itself finds odd about the notes that come to it."""
    for step in steps:
        notes = [form for form in step.arriving if form.kind in NOTE_STATUSES]
        for doubt in step.link.step.doubts(_channels(notes)):
            yield Finding(doubt.kind, "doubt", step.place, doubt.text, doubt.remedy)


def _channels(forms: Iterable[Form]) -> frozenset[int]:
    return frozenset(form.channel for form in forms if form.channel is not None)
