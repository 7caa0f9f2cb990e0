"""Findings that are meant: those that `accept` names next to what they are about are no longer reported."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping

from rules.findings.finding import Finding
from rules.rulefile.locations import Location, SourceFile
from rules.rulefile.positions import Path
from rules.rulefile.reading import Reading

_Part = tuple[SourceFile, Path]
"""The rule, port, device, switch, song, `[[on_switch]]` or `[clock]` that a place is in."""


def without_accepted(found: Iterable[Finding], reading: Reading) -> Iterator[Finding]:
    """Yield the findings that nobody has accepted, then what was accepted and no longer occurs."""
    accepted = _accepted(reading)
    unseen = {part: dict(reasons) for part, (_, reasons) in accepted.items()}
    for finding in found:
        part = _part(finding.place)
        if part in accepted and finding.label in accepted[part][1]:
            unseen[part].pop(finding.label, None)
        else:
            yield finding
    for part, (place, _) in accepted.items():
        for label in unseen[part]:
            yield Finding(
                "not found",
                "remark",
                place.inside("accept", label),
                f'"{label}" is accepted here, and `check` doesn\'t find it.',
                "Remove it from `accept`, or correct its name.",
                about=label,
            )


def _accepted(reading: Reading) -> dict[_Part, tuple[Location, Mapping[str, str]]]:
    """All that is accepted, with its place, by what it is next to."""
    ruleset = reading.ruleset
    placed: list[tuple[Location, Mapping[str, str]]] = []
    placed += [(reading.ports[name], port.accept) for name, port in ruleset.ports.items()]
    placed += [(reading.devices[name], device.accept) for name, device in ruleset.devices.items()]
    placed += [(reading.switches[name], switch.accept) for name, switch in ruleset.switches.items()]
    placed += [(place, rule.accept) for place, rule in zip(reading.rules, ruleset.rules, strict=True)]
    placed += [(place, entry.accept) for place, entry in zip(reading.on_switch, ruleset.on_switch, strict=True)]
    placed += [(place, song.accept) for place, song in zip(reading.songs, ruleset.songs, strict=True)]
    if reading.clock is not None:
        placed.append((reading.clock, ruleset.clock.accept))
    return {_part(place): (place, reasons) for place, reasons in placed if reasons}


def _part(place: Location) -> _Part:
    return place.source, place.path[:2]
