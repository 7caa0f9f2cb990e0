"""What is allowed in rule files, and yet odd enough to be mentioned."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from typing import Final

from rules.analysis.device_findings import device_hints
from rules.errors import Problem
from rules.fields.conditions import Condition
from rules.rulefile.draft import Branch, Draft, Entry, branches, staged
from rules.rulefile.reading import Reading, in_order
from rules.rulefile.rule_tables import Rule
from rules.rulefile.stages import Stage
from rules.steps.filter import FilterStep
from rules.steps.rechannel import RechannelStep
from rules.steps.transpose import TransposeStep

_ALL: Final = frozenset(range(1, 17))
_DRUMS: Final = 10
_NOTE_KINDS: Final = frozenset({"note", "note-on", "note-off", "key-pressure"})


def hints_of(reading: Reading) -> tuple[Problem, ...]:
    """Everything that may be meant, but is worth a second look, in the order of files and lines."""
    return in_order(_hints(reading.draft), reading.files)


def _hints(draft: Draft) -> Iterator[Problem]:
    for entry in draft.rules:
        yield from _folding(draft, entry)
        for branch in branches(entry):
            yield from _transposed_drums(draft, branch)
            yield from _never_matching(branch)
    yield from _transposed_drums_at_ports(draft)
    yield from _two_clocks(draft)
    yield from device_hints(draft)


def _folding(draft: Draft, entry: Entry[Rule]) -> Iterator[Problem]:
    """All sixteen channels put into a device's one (ruling 8)."""
    found: dict[str, int] = {}
    for branch in branches(entry):
        channels = _through(_arriving(draft, branch), branch.stages)
        for outlet in branch.outlets:
            for name in outlet.to if outlet.channels is None and channels == _ALL else ():
                device = draft.devices.get(name)
                if device is not None and device.value.channel is not None:
                    found[name] = device.value.channel
    if found:
        names = ", ".join(f'"{name}" (channel {channel})' for name, channel in found.items())
        text = f"all 16 channels go into one at {names}: if only some are meant, name them in `match`"
        yield entry.place.problem(text)


def _transposed_drums(draft: Draft, branch: Branch) -> Iterator[Problem]:
    """Channel 10 moved along with the rest (ruling 19)."""
    if not _has_notes(branch):
        return
    channels = _arriving(draft, branch)
    for entry in branch.stages:
        yield from _drums_moved(entry, channels)
        channels = _through(channels, (entry,))


def _transposed_drums_at_ports(draft: Draft) -> Iterator[Problem]:
    for port in draft.ports.values():
        channels = _ALL
        for entry in staged(port.value.steps, port.place):
            yield from _drums_moved(entry, channels)
            channels = _through(channels, (entry,))


def _drums_moved(entry: Entry[Stage], channels: frozenset[int]) -> Iterator[Problem]:
    step = entry.value.step
    asked = isinstance(step, TransposeStep) and step.by != 0 and "except_channels" not in step.model_fields_set
    if asked and _DRUMS in channels:
        text = (
            "channel 10, the drums by custom, is transposed too: write `except_channels = 10`, or `[]` if it is meant"
        )
        yield entry.place.problem(text)


def _has_notes(branch: Branch) -> bool:
    """Whether notes can be among what a branch takes."""
    match = branch.rule.match
    zone = () if branch.zone is None else (branch.zone,)
    return all(
        not conditions or any(one.kinds is None or one.kinds & _NOTE_KINDS for one in conditions)
        for conditions in (match, zone)
    )


def _arriving(draft: Draft, branch: Branch) -> frozenset[int]:
    """The channels that a branch takes."""
    channels: frozenset[int] = frozenset()
    for name in branch.rule.source:
        port = draft.ports.get(name)
        channels |= _through(_ALL, staged(port.value.steps, port.place)) if port is not None else _ALL
    channels &= _asked_for(branch.rule.match)
    return channels & _asked_for((branch.zone,)) if branch.zone is not None else channels


def _asked_for(conditions: tuple[Condition, ...]) -> frozenset[int]:
    if not conditions or any(condition.channel is None for condition in conditions):
        return _ALL
    return frozenset(channel for condition in conditions for channel in condition.channel or ())


def _through(channels: frozenset[int], stages: Iterable[Entry[Stage]]) -> frozenset[int]:
    """The channels behind some steps; one that may be skipped leaves what it finds as well."""
    for entry in stages:
        step = entry.value.step
        after = channels
        if isinstance(step, RechannelStep):
            after = frozenset(map(step.channel_for, channels))
        elif isinstance(step, FilterStep):
            after = channels & _asked_for(step.keep)
            for condition in step.drop:
                if condition.model_fields_set == {"channel"}:
                    after -= condition.channel or frozenset()
        channels = after if entry.value.when is None else channels | after
    return channels


def _never_matching(branch: Branch) -> Iterator[Problem]:
    """A zone that asks for what the rule's `match` never lets through."""
    zone = branch.zone
    if zone is not None and branch.rule.match and all(_disjoint(one, zone) for one in branch.rule.match):
        yield branch.place.problem("nothing that fits the rule's `match` fits this zone too: it stays silent")


def _disjoint(first: Condition, second: Condition) -> bool:
    """Whether no message fits both; notes and velocities only keep apart what has them (ruling 1)."""
    kinds = [_finer(condition.kinds) for condition in (first, second)]
    if kinds[0] is not None and kinds[1] is not None and not kinds[0] & kinds[1]:
        return True
    apart = {"channel", "controller", "program"}
    named = kinds[0] if kinds[0] is not None else kinds[1]
    if named is not None and named <= _NOTE_KINDS:
        apart.add("notes")
    for key in apart:
        one, other = getattr(first, key), getattr(second, key)
        if one is not None and other is not None and not one & other:
            return True
    if first.value is None or second.value is None:
        return False
    return first.value[1] < second.value[0] or second.value[1] < first.value[0]


def _finer(kinds: frozenset[str] | None) -> frozenset[str] | None:
    if kinds is None or not kinds & {"note", "note-on"}:
        return kinds
    return kinds - {"note"} | {"note-on", "note-off"}


def _two_clocks(draft: Draft) -> Iterator[Problem]:
    """Two ports whose clock could go out at a third, so that neither does (ruling 26)."""
    candidates: dict[str, list[str]] = {}
    for entry in draft.rules:
        if entry.value.match or entry.value.otherwise:
            continue
        names = [name for branch in branches(entry) for outlet in branch.outlets for name in outlet.to]
        for name in names:
            behind = draft.devices[name].value.port if name in draft.devices else name
            candidates.setdefault(behind, []).extend(entry.value.source)
    for name, port in draft.ports.items():
        found = list(dict.fromkeys(candidates.get(name, ())))
        if port.value.clock is None and len(found) > 1:
            either = " or ".join(f'"{source}"' for source in found)
            text = f'clock could come from {either}, so none goes out: write clock = "{found[0]}", or "none"'
            yield port.place.problem(text)
