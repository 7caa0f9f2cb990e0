"""What is odd about devices: two that can't be told apart, one that nothing reaches, notes that one doesn't have."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from rules.behaviour.outcomes import keys_made, preimage_of_keys
from rules.behaviour.regions import Given, Region, subtracted
from rules.fields.matching import statuses_of
from rules.findings.branch_ways import Branch, BranchWays, SourcedWay
from rules.findings.examples import example
from rules.findings.finding import Example, Finding, note_ranges
from rules.midi.messages import NOTE_ON, SYSEX
from rules.program.byte_tables import ALL, gate_of, open_in
from rules.rulefile.port_tables import Device
from rules.rulefile.reading import Reading

_MOST_RANGES = 3


def device_findings(ways: BranchWays) -> Iterator[Finding]:
    """All of these."""
    yield from _one_channel_for_two(ways.reading)
    yield from _unreached(ways)
    for branch in ways.branches:
        yield from _notes_outside(ways, branch)


def _one_channel_for_two(reading: Reading) -> Iterator[Finding]:
    """Two devices that hear the same channel of one port: what is played on one sounds on both."""
    first: dict[tuple[str, int], str] = {}
    for name, device in reading.ruleset.devices.items():
        if device.channel is None:
            continue
        other = first.setdefault((device.port, device.channel), name)
        if other != name:
            yield Finding(
                "shared channel",
                "doubt",
                reading.devices[name],
                f'"{other}" listens on channel {device.channel} of {device.port} as well: both play the same.',
                "Set one of them to another channel, or give it an output of its own.",
                about=other,
                others=(reading.devices[other],),
            )


def _unreached(ways: BranchWays) -> Iterator[Finding]:
    """A device that nothing is ever sent to."""
    ruleset = ways.ruleset
    sent = {name for turn in ruleset.on_switch for name in turn.send}
    for name, device in ruleset.devices.items():
        if name in sent or any(_reaches(ways, each, name, device) for each in ways.all_leaving):
            continue
        is_named = any(name in branch.destinations for branch in ways.branches)
        yield Finding(
            "unreached",
            "doubt",
            ways.reading.devices[name],
            "Rules lead here, but none of their messages arrives." if is_named else "No rule leads here.",
            "Look at the filters and channels on the way." if is_named else "Name it in the `to` of a rule.",
        )


def _reaches(ways: BranchWays, each: SourcedWay, name: str, device: Device) -> bool:
    """Return whether a way leads to a device. What has no channel, or is for one that hears all, must name it."""
    form = each.way.form
    if ways.pipeline.ports[form.target] != device.port:
        return False
    if form.status < SYSEX and device.channel is not None:
        return device.hears(form.status & 0x0F)
    branch = ways.by_label.get(form.rule)
    return branch is not None and name in branch.destinations


def _notes_outside(ways: BranchWays, branch: Branch) -> Iterator[Finding]:
    """Notes that a rule names, and that its device doesn't have (ruling 8)."""
    if not _names_its_notes(branch):
        return
    for name, device in ways.ruleset.devices.items():
        if device.notes is None or device.outside != "pass":
            continue
        low, high = device.notes
        arriving = [
            each
            for each in ways.leaving.get(branch.label, ())
            if each.way.form.kind == NOTE_ON
            and ways.pipeline.ports[each.way.form.target] == device.port
            and device.hears(each.way.form.status & 0x0F)
        ]
        # A keyboard has more keys than most instruments, and a `when` may be meant to help: only what comes however
        # the switches are set is mentioned.
        strays = _certain(arriving, ALL & ~gate_of(range(low, high + 1)))
        if strays:
            naming = branch.place.source.naming
            shown = next(each for each in arriving if keys_made(each.way) & strays)
            yield Finding(
                "notes outside",
                "doubt",
                branch.place,
                f'"{name}" has the notes {note_ranges(gate_of(range(low, high + 1)), naming)[0]}, '
                f"and gets {_some(note_ranges(strays, naming))}.",
                'Write outside = "drop" or outside = "octave" at the device, or widen `notes`.',
                about=name,
                example=_example(ways, shown, strays),
                others=(ways.reading.devices[name],),
            )


def _example(ways: BranchWays, each: SourcedWay, keys: int) -> Example:
    firsts, seconds = preimage_of_keys(each.way, keys)
    return example(ways.pipeline, each, firsts=firsts, seconds=seconds)


def _some(ranges: Sequence[str]) -> str:
    more = f" and {len(ranges) - _MOST_RANGES} more ranges" if len(ranges) > _MOST_RANGES + 1 else ""
    return ", ".join(ranges[:_MOST_RANGES] if more else ranges) + more


def _certain(arriving: Sequence[SourcedWay], keys: int) -> int:
    """The keys of a gate that some of the messages become in every state of the switches."""
    by_key: dict[int, dict[Given, None]] = {}
    for each in arriving:
        given = each.way.region.for_any_memory.given
        for key in open_in(keys_made(each.way) & keys):
            by_key.setdefault(key, {})[given] = None
    everywhere = Region(1, 1)
    return gate_of(
        key
        for key, givens in by_key.items()
        if () in givens or not subtracted([everywhere], [everywhere._replace(given=given) for given in givens])
    )


def _names_its_notes(branch: Branch) -> bool:
    """Return whether the rule or zone says which notes it takes, wherever it takes any."""
    if branch.zone is not None and branch.zone.notes is not None:
        return True
    match = branch.rule.match
    asked = [condition for condition in match if NOTE_ON in {status & 0xF0 for status in statuses_of(condition)}]
    return bool(match) and all(condition.notes is not None for condition in asked)
