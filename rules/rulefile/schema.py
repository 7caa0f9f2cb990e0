"""The form of a rule file as a whole: its sections, and what stands outside of them.

Every key and every value that one table can decide for itself is in `port_tables`, `switch_tables` and `rule_tables`.
What needs all files together - whether a named port, device or switch exists - is checked in `checking`.
"""

from __future__ import annotations

from typing import Annotated, Literal

from pydantic import Field

from rules.fields.names import Name
from rules.fields.numbers import decimal, whole
from rules.fields.part import Part
from rules.rulefile.port_tables import Device, Port
from rules.rulefile.rule_tables import OnSwitch, Rule, RuleTest
from rules.rulefile.switch_tables import Switch


class RuleFile(Part):
    """One whole rule file."""

    middle_c: Literal["C3", "C4"] = "C4"
    first_program: Annotated[int, whole("the number of the first program", 0, 1)] = 1
    bpm: Annotated[float, decimal("a tempo", 10, 1000)] | None = None
    ports: dict[Name, Port] = Field(default_factory=dict)
    devices: dict[Name, Device] = Field(default_factory=dict)
    switches: dict[Name, Switch] = Field(default_factory=dict)
    rules: tuple[Rule, ...] = Field(default=(), strict=False)
    on_switch: tuple[OnSwitch, ...] = Field(default=(), strict=False)
    tests: tuple[RuleTest, ...] = Field(default=(), strict=False)
