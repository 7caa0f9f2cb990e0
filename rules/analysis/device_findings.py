"""What is odd about devices and the rules that lead to them: allowed, and yet worth a second look."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import replace

from rules.analysis.branch_reach import BranchReach, taken_by
from rules.compiler.compiler import Compiler
from rules.compiler.reach import firsts_out, through
from rules.compiler.sources import BranchPlan
from rules.errors import Problem
from rules.fields.matching import statuses_of
from rules.midi.messages import NOTE_ON
from rules.midi.notation import Naming, format_note
from rules.program.byte_tables import open_in
from rules.program.forms import Form
from rules.program.guards import ALWAYS, NO_CUBES, Guard, either
from rules.rulefile.reading import Reading

_NOTE_ONS = tuple(Form(NOTE_ON | channel) for channel in range(16))


def device_hints(compiler: Compiler, reading: Reading, branches: Sequence[BranchReach]) -> Iterator[Problem]:
    """Everything about devices that may be meant."""
    yield from _one_channel_for_two(reading)
    yield from _unreached(reading, branches)
    for branch in branches:
        yield from _keys_outside(compiler, branch)


def _one_channel_for_two(reading: Reading) -> Iterator[Problem]:
    """Two devices that hear the same channel of one port: what is played on one sounds on both."""
    first: dict[tuple[str, int], str] = {}
    for name, device in reading.ruleset.devices.items():
        port, channel = device.port, device.channel
        if channel is None:
            continue
        other = first.setdefault((port, channel), name)
        if other != name:
            text = f'"{other}" listens on channel {channel} of {port} as well: both play the same'
            yield reading.devices[name].problem(text)


def _unreached(reading: Reading, branches: Sequence[BranchReach]) -> Iterator[Problem]:
    """A device that nothing is ever sent to."""
    reached = {name for turn in reading.ruleset.on_switch for name in turn.send}
    for branch in branches:
        reached.update(name for outlet in branch.outlet.outlets for name in outlet.to)
    for name, place in reading.devices.items():
        if name not in reached:
            yield place.problem("no rule leads here")


def _keys_outside(compiler: Compiler, branch: BranchReach) -> Iterator[Problem]:
    """Keys that a rule names, and that its device doesn't have (ruling 8)."""
    if not _names_its_keys(branch.plan):
        return
    # A keyboard has more keys than most instruments, and a `when` may be meant to help: only what comes however the
    # switches are set is mentioned.
    leaving = taken_by(replace(branch.plan, guard=ALWAYS), _NOTE_ONS)
    for step in branch.plan.steps:
        leaving = through(step, leaving, only_certain=True)
    for name in dict.fromkeys(name for outlet in branch.outlet.outlets for name in outlet.to):
        device = compiler.ruleset.devices.get(name)
        if device is None or device.notes is None or device.outside != "pass":
            continue
        arriving = [form for form in leaving if name in branch.outlet.names_for(form.channel)]
        for link in branch.outlet.end_of(name):
            arriving = through(link, arriving, only_certain=True)
        low, high = device.notes
        keys = _keys(arriving).items()
        strays = sorted(key for key, guard in keys if not low <= key <= high and not compiler.layout.negated(guard))
        if strays:
            naming = branch.place.source.naming
            came = _from_to(strays[0], strays[-1], naming)
            yield branch.place.problem(
                f'"{name}" has the notes {_from_to(low, high, naming)}, and {came} may arrive: write '
                f'outside = "drop" or "octave" at the device, or widen `notes`'
            )


def _names_its_keys(plan: BranchPlan) -> bool:
    """Return whether the rule or zone says which keys it takes, wherever it takes any."""
    if plan.zone is not None and plan.zone.notes is not None:
        return True
    asked = [
        condition for condition in plan.rule.match if NOTE_ON in {status & 0xF0 for status in statuses_of(condition)}
    ]
    return bool(plan.rule.match) and all(condition.notes is not None for condition in asked)


def _keys(forms: Sequence[Form]) -> dict[int, Guard]:
    """The keys of note-ons, each with how the switches must stand for it."""
    found: dict[int, Guard] = {}
    for form in forms:
        if form.kind == NOTE_ON:
            for key in open_in(firsts_out(form.lane(), form.gate_one)):
                found[key] = either(found.get(key, NO_CUBES), form.guard)
    return found


def _from_to(low: int, high: int, naming: Naming) -> str:
    return format_note(low, naming) if low == high else f"{format_note(low, naming)} to {format_note(high, naming)}"
