"""All rule files together: one set of names, rules in file order."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Final

from rules.rulefile.clock_table import NO_CLOCK, ClockTable
from rules.rulefile.port_tables import Device, Port
from rules.rulefile.promise_table import Promise
from rules.rulefile.rule_tables import OnSwitch, Rule, RuleTest
from rules.rulefile.song_tables import Song
from rules.rulefile.switch_tables import NumberSwitch, OnOffSwitch, ValueSwitch

DEFAULT_BPM: Final = 120.0


@dataclass(frozen=True, slots=True)
class RuleSet:
    """What one or several rule files say together. Every rule has a name of its own; unnamed ones are "rule 3".

    What plays knows `songs` as the switch "song", with its actions and conditions; they are there for people to read.
    """

    ports: Mapping[str, Port] = field(default_factory=dict)
    devices: Mapping[str, Device] = field(default_factory=dict)
    switches: Mapping[str, OnOffSwitch | ValueSwitch | NumberSwitch] = field(default_factory=dict)
    rules: tuple[Rule, ...] = ()
    on_switch: tuple[OnSwitch, ...] = ()
    tests: tuple[RuleTest, ...] = ()
    promises: tuple[Promise, ...] = ()
    songs: tuple[Song, ...] = ()
    clock: ClockTable = NO_CLOCK

    @property
    def bpm(self) -> float:
        """The tempo (BPM) where neither a recording nor a clock has one."""
        return DEFAULT_BPM if self.clock.bpm is None else self.clock.bpm

    @property
    def din_outputs(self) -> list[str]:
        """The names of the outputs that are DIN connections, in file order."""
        return [name for name, port in self.ports.items() if port.can_send and port.connection == "din"]

    def port_of(self, name: str) -> str:
        """The port behind a device's or port's name."""
        return self.devices[name].port if name in self.devices else name
