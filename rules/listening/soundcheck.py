"""A soft note for each device, through the device's own steps and channel: is every cable where it should be?

The notes go through rules made for it, one a device, so that they come out as those of the player will.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Final

from rules.compiler.compiler import compile_rules
from rules.engine.delivery import Sent
from rules.engine.session import Session
from rules.midi.messages import NOTE_OFF, NOTE_ON, OFF_VELOCITY, is_note_on
from rules.program.pipeline import Pipeline
from rules.rulefile.port_tables import Device, Port
from rules.rulefile.rule_tables import Rule
from rules.rulefile.ruleset import RuleSet
from rules.timing.delays import NEVER

VELOCITY: Final = 40
"""Soft, but audible at a volume at which people can talk. A choice, without a source."""

_DRUM_CHANNEL: Final = 10
_SNARE: Final = 38
"""General MIDI Level 1, percussion key map (RP-003 p. 6): 38 is the acoustic snare, on channel 10 as the map says."""

_MIDDLE_C: Final = 60
_LONG_AFTER_NS: Final = NEVER // 2  # when every delay is over


@dataclass(frozen=True, slots=True)
class DeviceCheck:
    """One device's note: `source` plays `note` (bytes of a note-on), and the device's port gets `sounds`.

    `sounds` is None where the device's own steps let nothing through.
    """

    device: str
    port: str
    source: str
    note: bytes
    sounds: bytes | None

    @property
    def end(self) -> bytes:
        """The note-off of the note."""
        return bytes((NOTE_OFF | self.note[0] & 0x0F, self.note[1], OFF_VELOCITY))


@dataclass(frozen=True, slots=True)
class Plan:
    """Rules that lead one source to each device, and what is to be played on them."""

    ruleset: RuleSet
    pipeline: Pipeline
    checks: tuple[DeviceCheck, ...]


def plan(ruleset: RuleSet) -> Plan:
    """Return what a sound check of these devices plays, in the order in which the rule files name them."""
    sources = {device: f"{number} {device}" for number, device in enumerate(ruleset.devices, 1)}  # no name begins so
    made = replace(
        ruleset,
        ports={**ruleset.ports, **{source: Port(input=True, virtual=True) for source in sources.values()}},
        rules=tuple(_rule(source, device) for device, source in sources.items()),
        on_switch=(),
        tests=(),
        promises=(),
    )
    pipeline = compile_rules(made)
    checks = []
    for name, device in ruleset.devices.items():
        note = bytes((NOTE_ON | _channel(device) - 1, _key(device), VELOCITY))
        checks.append(
            DeviceCheck(name, device.port, sources[name], note, _sounding(made, pipeline, sources[name], note))
        )
    return Plan(made, pipeline, tuple(checks))


def _rule(source: str, device: str) -> Rule:
    return Rule.model_validate({"from": source, "to": device})


def _channel(device: Device) -> int:
    return device.channel or 1


def _key(device: Device) -> int:
    """A key that the instrument has: in the middle of its range; on the drum channel a drum."""
    low, high = device.notes or (0, 127)
    usual = _SNARE if device.channel == _DRUM_CHANNEL else _MIDDLE_C
    if device.channel != _DRUM_CHANNEL and device.notes:
        usual = (low + high) // 2
    return usual if low <= usual <= high else (low + high) // 2


def _sounding(ruleset: RuleSet, pipeline: Pipeline, source: str, note: bytes) -> bytes | None:
    """The first note that comes out, sooner or later."""
    session = Session(ruleset, pipeline)
    out: list[Sent] = []
    session.arrive(session.players[source], note, 0, out)
    session.advance(_LONG_AFTER_NS, out)
    return next((message for _, message, _, _ in out if is_note_on(message)), None)
