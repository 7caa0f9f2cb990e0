"""A plan as a rule file: its ports and instruments, a rule for each source, and a test for each way.

The tables are plain data, to be written as TOML. Ports, and what else instruments have, stay as they were written. What
can't be played alone is left out: a rule to it would sound on others too.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from copy import copy
from typing import Any, Final

from rules.errors import RuleFileError
from rules.findings.finding import Finding
from rules.midi.notation import STANDARD, format_note
from rules.rig.channel_plan import ChannelPlan, PlannedChannel
from rules.rulefile.locations import Location
from rules.rulefile.port_tables import Device
from rules.rulefile.reading import Reading
from rules.rulefile.stages import Stage

Table = dict[str, Any]

_MIDDLE_C: Final = 60
_VELOCITY: Final = 80

_MEANT: Final = {"one note from two sources": "several inputs play it, as planned", "DIN load": "as planned"}
"""Remarks of `check` that a plan brings with it, and the reason that is written next to them."""


def planned_tables(reading: Reading, plan: ChannelPlan) -> Table:
    """Return the tables of a rule file that plays a rig as planned.

    Raises RuleFileError where the files that say what the rig is count notes or programs in different ways, and where
    steps of an instrument choose its channel as well.
    """
    alone = {one.device.name: one for one in plan.channels}
    found: Table = _head(reading)
    if reading.clock is not None:
        found["clock"] = copy(reading.clock.source.value(reading.clock.path))
    found["ports"] = {name: copy(place.source.value(place.path)) for name, place in reading.ports.items()}
    if alone:
        found["devices"] = {
            name: _device(reading.ruleset.devices[name], place, alone[name])
            for name, place in reading.devices.items()
            if name in alone
        }
    if switches := _switches(reading, alone):
        found["switches"] = switches
    found["rules"] = [_rule(source, plan) for source in plan.rig.sources if _reached(source, plan)]
    if tests := list(_tests(reading, plan)):
        found["tests"] = tests
    return found


def accept_remarks(tables: Table, findings: Iterable[Finding]) -> None:
    """Take what `check` remarks about a plan as meant, and take back what it no longer finds."""
    for finding in findings:
        if finding.place.path == ("clock",):  # it is as it was written
            continue
        section, name, *_ = finding.place.path
        parts = tables[str(section)]
        part = parts[name] if not isinstance(parts[name], str) else {"both": parts[name]}
        parts[name] = part
        if finding.kind in _MEANT:
            part["accept"] = {**part.get("accept", {}), finding.label: _MEANT[finding.kind]}
        elif finding.kind == "not found":
            part["accept"] = {label: reason for label, reason in part["accept"].items() if label != finding.about}


def _head(reading: Reading) -> Table:
    """What stands outside of all tables; programs and notes are taken over as they are written."""
    places = [*reading.ports.values(), *reading.devices.values()]
    first = places[0].source.naming if places else STANDARD
    for place in places:
        if place.source.naming != first:
            text = f"{place.file} counts notes or programs in another way than {places[0].file}"
            raise RuleFileError([place.problem(f"{text}: write the same `middle_c` and `first_program` in both")])
    head: Table = {}
    if first.middle_c != STANDARD.middle_c:
        head["middle_c"] = f"C{first.middle_c}"
    if first.first_program != STANDARD.first_program:
        head["first_program"] = first.first_program
    return head


def _device(device: Device, place: Location, planned: PlannedChannel) -> Table:
    """Return the table of an instrument as it was written, but on its channel."""
    if planned.is_chosen and device.steps and device.steps[-1].step.only_rechannels:
        text = "the plan sets the channel after the last step, `rechannel`, so that changes nothing: remove it"
        raise RuleFileError([place.problem(text)])
    table = {key: value for key, value in place.source.value(place.path).items() if key != "channels"}
    if planned.channel is not None:
        table["channel"] = planned.channel
    return table


def _switches(reading: Reading, alone: Iterable[str]) -> Table:
    """Return the switches that steps of ports and instruments ask for."""
    ruleset = reading.ruleset
    stages = [stage for port in ruleset.ports.values() for stage in port.steps]
    stages += [stage for name in alone for stage in ruleset.devices[name].steps]
    asked = {name for stage in stages for name in _asked(stage)}
    return {name: place.source.value(place.path) for name, place in reading.switches.items() if name in asked}


def _asked(stage: Stage) -> Iterator[str]:
    yield from stage.step.number_switches.values()
    if stage.when is not None:
        yield from (term.switch for term in stage.when.terms)


def _reached(source: str, plan: ChannelPlan) -> dict[int, str]:
    """Return the instrument that each channel of a source reaches."""
    found = {one.by_source[source]: one.device.name for one in plan.channels if source in one.by_source}
    return dict(sorted(found.items()))


def _rule(source: str, plan: ChannelPlan) -> Table:
    arriving = plan.rig.arriving.get(source, {})
    reached = {arriving.get(channel, channel): name for channel, name in _reached(source, plan).items()}
    return {
        "name": source,
        "from": source,
        "match": {"channel": list(reached)},
        "to": {str(channel): name for channel, name in reached.items()},
    }


def _tests(reading: Reading, plan: ChannelPlan) -> Iterator[Table]:
    """Yield a test for each way: a note reaches one instrument, on its channel, and no other.

    Where steps change what comes or goes, what the note becomes is not a matter of the plan.
    """
    ruleset = reading.ruleset
    for source in plan.rig.sources:
        for channel, name in _reached(source, plan).items():
            device = ruleset.devices[name]
            if ruleset.ports[source].steps or device.steps:
                continue
            low, high = device.notes or (0, 127)
            key = min(max(_MIDDLE_C, low), high)
            note = format_note(key, reading.devices[name].source.naming)
            own = f"{channel} " if device.channel is None and device.channels is None else ""
            yield {
                "name": f"channel {channel} of {source} plays {name} alone",
                "from": source,
                "play": [f"note-on {channel} {note} {_VELOCITY}", f"note-off {channel} {note}"],
                "expect": {name: [f"note-on {own}{note} {_VELOCITY}", f"note-off {own}{note}"]},
            }
