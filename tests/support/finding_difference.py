"""Where findings and brute force differ about one rule file."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Set

from rules.findings.branch_ways import BranchWays
from rules.findings.din_findings import full_loads
from rules.findings.finding import Finding
from rules.findings.findings import findings_of
from rules.midi.notation import parse_controller, parse_note
from rules.rulefile.reading import Reading, read_rule_set
from tests.support.brute_messages import named_bytes
from tests.support.finding_brute import FindingBrute
from tests.support.finding_rigs import Table, finding_rig
from tests.support.rule_strategies import toml_of


def finding_differences(seed: int, *, every_byte: bool = False) -> list[str]:
    """What is found differently in the random rig of a seed, in words; empty where all is equal."""
    rig = finding_rig(seed)
    reading = read_rule_set([("rules.toml", toml_of(rig).encode())])
    values = list(range(128)) if every_byte else sorted(named_bytes(_named(rig)))
    return list(_differences(reading, values))


def _named(rig: Table) -> list[object]:
    """The tables of devices, switches and rules, as far as they name data bytes."""
    tables = [rig["ports"], rig["devices"], rig["switches"]]
    return [*(_naming_bytes(each) for table in tables for each in table.values()), *map(_naming_bytes, rig["rules"])]


_NO_DATA_BYTES = frozenset(
    {"name", "port", "channel", "rechannel", "transpose", "echo", "delay", "thin", "length", "returns", "times", "when"}
)


def _naming_bytes(value: object, *, is_map: bool = False) -> object:
    """Leave out what names no data byte: names, channels, intervals, times."""
    if isinstance(value, dict):
        left = _NO_DATA_BYTES if is_map else _NO_DATA_BYTES | {"from", "to"}
        return {name: _naming_bytes(inner, is_map=name == "map") for name, inner in value.items() if name not in left}
    if isinstance(value, list):
        return [_naming_bytes(inner) for inner in value]
    return value


def _differences(reading: Reading, values: list[int]) -> Iterator[str]:
    brute = FindingBrute(reading.ruleset, values)
    found: dict[str, list[Finding]] = {}
    for finding in findings_of(reading):
        found.setdefault(finding.kind, []).append(finding)
    labels = {kind: {_label(each) for each in found.get(kind, ())} for kind in ("never matches", "all lost")}
    yield from _differing("never matches", labels["never matches"], brute.never_matching())
    yield from _differing("all lost", labels["all lost"], brute.all_lost())
    devices = {str(each.place.path[1]) for each in found.get("unreached", ())}
    yield from _differing("unreached", devices, brute.unreached())
    outside = {(_label(each), each.about) for each in found.get("notes outside", ())}
    yield from _differing("notes outside", outside, brute.notes_outside())
    gaps, overlaps = brute.split_notes()
    yield from _differing("split gap", _notes(found.get("split gap", ()), values), _pairs(gaps))
    yield from _differing("split overlap", _notes(found.get("split overlap", ()), values), _pairs(overlaps))
    names = [rule.name for rule in reading.ruleset.rules]
    shared = {
        (min(pair), max(pair))
        for each in found.get("one note from two sources", ())
        for pair in [(names.index(each.about), int(each.place.path[1]))]
    }
    yield from _differing("one note from two sources", shared, brute.shared_notes())
    clashing = {number for _, number in brute.two_ways()}
    told = {_controller(each) for each in found.get("two ways", ())}
    if bool(told) != bool(clashing) or not told <= clashing:
        yield f"two ways: found {told}, brute force {clashing}"
    for load in full_loads(BranchWays(reading)):
        if load.load != brute.din_load(load.port):
            yield f"DIN load of {load.port}: found {load.load}, brute force {brute.din_load(load.port)}"
    loops = {(str(each.place.path[1]), each.about) for each in found.get("loop", ()) if each.place.path[0] == "devices"}
    yield from _differing("loop", loops, brute.loops())


def _differing(kind: str, found: Set[object], wanted: Set[object]) -> Iterator[str]:
    if found != wanted:
        yield f"{kind}: found alone {found - wanted}, brute force alone {wanted - found}"


def _label(finding: Finding) -> str:
    """The label of the rule or zone that a finding is at."""
    match finding.place.path:
        case ("rules", int(number), "zones", int(zone), *_):
            return f"{number}/{zone}"
        case ("rules", int(number), *_):
            return f"{number}"
    raise AssertionError(finding.place.path)


def _notes(findings: Iterable[Finding], values: list[int]) -> set[object]:
    """The notes of findings about splits, as far as they were tried by brute force, with their rules."""
    found: set[object] = set()
    for finding in findings:
        low, _, high = finding.about.partition("..")
        ends = parse_note(low), parse_note(high or low)
        found |= {(int(finding.place.path[1]), key) for key in values if ends[0] <= key <= ends[1]}
    return found


def _pairs(notes: Mapping[int, set[int]]) -> set[object]:
    return {(number, key) for number, keys in notes.items() for key in keys}


def _controller(finding: Finding) -> int:
    return -1 if finding.about == "programs" else parse_controller(finding.about.removeprefix("controller "))
