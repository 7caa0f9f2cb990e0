"""What is odd about devices and the rules that lead to them: allowed, and yet worth a second look."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Final

from rules.errors import Problem
from rules.midi.notation import Naming, format_note
from rules.rulefile.draft import Branch, Draft, branches
from rules.rulefile.port_tables import Device
from rules.steps.delay import DelayStep
from rules.steps.rechannel import RechannelStep
from rules.steps.thin import ThinStep
from rules.steps.transpose import TransposeStep, moved_key
from rules.steps.velocity import VelocityStep

_KEEPS_KEYS = (RechannelStep, VelocityStep, DelayStep, ThinStep)
_SOUNDING: Final = frozenset({"note", "note-on"})


def device_hints(draft: Draft) -> Iterator[Problem]:
    """Everything about devices that may be meant."""
    yield from _one_channel_for_two(draft)
    yield from _unreached(draft)
    for entry in draft.rules:
        for branch in branches(entry):
            yield from _keys_outside(draft, branch)


def _one_channel_for_two(draft: Draft) -> Iterator[Problem]:
    """Two devices that hear the same channel of one port: what is played on one sounds on both."""
    first: dict[tuple[str, int], str] = {}
    for name, device in draft.devices.items():
        port, channel = device.value.port, device.value.channel
        if channel is None:
            continue
        other = first.setdefault((port, channel), name)
        if other != name:
            yield device.place.problem(f'"{other}" listens on channel {channel} of {port} as well: both play the same')


def _unreached(draft: Draft) -> Iterator[Problem]:
    """A device that nothing is ever sent to."""
    reached = {name for entry in draft.on_switch for name in entry.value.send}
    for entry in draft.rules:
        reached.update(name for branch in branches(entry) for outlet in branch.outlets for name in outlet.to)
    for name, device in draft.devices.items():
        if name not in reached:
            yield device.place.problem("no rule leads here")


def _keys_outside(draft: Draft, branch: Branch) -> Iterator[Problem]:
    """Keys that a rule names, and that its device doesn't have (ruling 8)."""
    for outlet in branch.outlets:
        for name in outlet.to:
            device = draft.devices[name].value if name in draft.devices else None
            if device is None or device.notes is None or device.outside != "pass":
                continue
            low, high = device.notes
            strays = sorted(key for key in _keys_at(branch, device) if not low <= key <= high)
            if strays:
                naming = branch.place.source.naming
                came = _from_to(strays[0], strays[-1], naming)
                yield branch.place.problem(
                    f'"{name}" has the notes {_from_to(low, high, naming)}, and {came} may come: write '
                    f'outside = "drop" or "fold" at the device, unless that is meant'
                )


def _keys_at(branch: Branch, device: Device) -> frozenset[int]:
    """The keys that may come to sound at a device.

    None unless they are named and notes can come, and no step does more than move all of them.
    """
    conditions = [*branch.rule.match, *([branch.zone] if branch.zone is not None else [])]
    named = [condition.notes for condition in conditions if condition.notes is not None]
    if not named or len(branch.rule.match) > 1:
        return frozenset()
    if any(condition.kinds is not None and not condition.kinds & _SOUNDING for condition in conditions):
        return frozenset()
    keys = named[0].intersection(*named)
    for stage in (*(entry.value for entry in branch.stages), *device.steps):
        step = stage.step
        if isinstance(step, _KEEPS_KEYS):
            continue
        if not isinstance(step, TransposeStep) or isinstance(step.by, str) or step.except_channels or stage.when:
            return frozenset()
        moved = (moved_key(key, step.by, step.outside == "fold") for key in keys)
        keys = frozenset(key for key in moved if key is not None)
    return keys


def _from_to(low: int, high: int, naming: Naming) -> str:
    return format_note(low, naming) if low == high else f"{format_note(low, naming)} to {format_note(high, naming)}"
