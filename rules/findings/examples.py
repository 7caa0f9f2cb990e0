"""Messages that show a finding: one out of a region, as a player would most likely send it."""

from __future__ import annotations

from typing import Final

from rules.behaviour.behaviour import Way
from rules.behaviour.regions import Given
from rules.findings.branch_ways import SourcedWay
from rules.findings.finding import Example
from rules.midi.messages import (
    CHANNEL_PRESSURE,
    CONTROLLER,
    KEY_PRESSURE,
    LENGTH,
    NOTE_OFF,
    NOTE_ON,
    PITCH_BEND,
    PROGRAM,
    SYSEX,
)
from rules.program.byte_tables import open_in
from rules.program.pipeline import Pipeline
from rules.program.switch_states import State

_SYSEX: Final = bytes.fromhex("F07D00F7")
_RANKS: Final = {NOTE_ON: 0, CONTROLLER: 1, PROGRAM: 2, PITCH_BEND: 3, CHANNEL_PRESSURE: 4, KEY_PRESSURE: 5}
_USUAL_FIRST: Final = 60
_USUAL_SECOND: Final = 100


def friendly(status: int) -> int:
    """The rank of a status as an example: note-ons first, note-offs last among messages with a channel."""
    return _RANKS.get(status & 0xF0, 6) if status < SYSEX else 7


def example(pipeline: Pipeline, each: SourcedWay, *, firsts: int | None = None, seconds: int | None = None) -> Example:
    """A message that goes a way; `firsts` and `seconds` are gates of data bytes, where only some show the finding."""
    way = each.way
    message = message_in(way, firsts, seconds)
    return Example(pipeline.sources[each.source], message, states_of(pipeline, way.given))


def message_in(way: Way, firsts: int | None = None, seconds: int | None = None) -> bytes:
    """A message of the region of a way, as it arrives: a usual note or value if that is one of them."""
    status = way.status
    if status >= SYSEX:
        return _SYSEX if status == SYSEX else bytes((status, *(0,) * (LENGTH[status] - 1)))
    first = _chosen(way.form.gate_one if firsts is None else firsts, _USUAL_FIRST)
    if LENGTH[status] == 2:
        return bytes((status, first))
    usual = 64 if status & 0xF0 == NOTE_OFF else _USUAL_SECOND
    return bytes((status, first, _chosen(way.form.gate_two if seconds is None else seconds, usual)))


def states_of(pipeline: Pipeline, given: Given) -> tuple[tuple[str, State], ...]:
    """The switches that must have other states than their initial ones, and such a state of each."""
    found = []
    for dimension, gate in given:
        if dimension.kind == "switch":
            name = str(dimension.name)
            field = pipeline.layout.fields[name]
            if not gate >> field.first & 1:
                found.append((name, field.states[open_in(gate)[0]]))
    return tuple(found)


def _chosen(gate: int, usual: int) -> int:
    """The usual byte of a gate, else the first one above it, else the highest."""
    bytes_in = open_in(gate)
    return next((byte for byte in bytes_in if byte >= usual), bytes_in[-1])
