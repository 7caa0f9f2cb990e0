"""The form of a rule file as a whole: its sections, and what stands outside of them.

Every key and every value that one table can decide for itself is in `clock_table`, `port_tables`, `switch_tables` and
`rule_tables`.
What needs all files together - whether a named port, device or switch exists - is checked in `checking`.
"""

from __future__ import annotations

from functools import cache
from typing import Annotated, Any, Final, Literal

from pydantic import Field, create_model

from rules.fields.names import Name
from rules.fields.numbers import whole
from rules.fields.table_model import TableModel
from rules.rulefile.clock_table import ClockTable
from rules.rulefile.port_tables import Device, Port
from rules.rulefile.promise_table import Promise
from rules.rulefile.rule_tables import OnSwitch, Rule, RuleTest
from rules.rulefile.song_tables import SetList, Song
from rules.rulefile.switch_tables import Switch

SINGLE_SECTIONS: Final = ("clock", "set_list")
"""Sections that are one table."""

NAMED_SECTIONS: Final = ("ports", "devices", "switches")
"""Sections whose tables have names."""

LISTED_SECTIONS: Final = ("rules", "on_switch", "songs", "tests", "promises")
"""Sections that are lists of tables."""


class RuleFile(TableModel):
    """One whole rule file."""

    middle_c: Literal["C3", "C4"] = Field(
        default="C4",
        description='says which C is middle C, key 60: `"C4"` or `"C3"`',
        examples=['middle_c = "C3"'],
    )
    first_program: Annotated[int, whole("the number of the first program", 0, 1)] = Field(
        default=1,
        description="says how your manuals number the first program: 1 or 0",
        examples=["first_program = 0"],
    )
    clock: ClockTable | None = Field(
        default=None,
        description="holds the tempo, and the clock of your own",
        examples=["[clock]"],
    )
    ports: dict[Name, Port] = Field(
        default_factory=dict,
        description="holds your names for the computer's ports",
        examples=["[ports]"],
    )
    devices: dict[Name, Device] = Field(
        default_factory=dict,
        description="holds your instruments",
        examples=["[devices]"],
    )
    switches: dict[Name, Switch] = Field(
        default_factory=dict,
        description="holds states that pedals and pads change",
        examples=["[switches]"],
    )
    rules: tuple[Rule, ...] = Field(
        default=(),
        strict=False,
        description="holds the rules, one header each",
        examples=["[[rules]]"],
    )
    on_switch: tuple[OnSwitch, ...] = Field(
        default=(),
        strict=False,
        description="holds messages that go out when switches change",
        examples=["[[on_switch]]"],
    )
    set_list: SetList | None = Field(
        default=None,
        description="says how the player gets from song to song",
        examples=["[set_list]"],
    )
    songs: tuple[Song, ...] = Field(
        default=(),
        strict=False,
        description="holds the songs of an evening in order",
        examples=["[[songs]]"],
    )
    tests: tuple[RuleTest, ...] = Field(
        default=(),
        strict=False,
        description="holds examples that `check` runs",
        examples=["[[tests]]"],
    )
    promises: tuple[Promise, ...] = Field(
        default=(),
        strict=False,
        description="holds what is true of all messages; `check` proves it",
        examples=["[[promises]]"],
    )


@cache
def form_of(section: str | None) -> type[TableModel]:
    """Return the form of a rule file that has only one section, or with None only what is outside of all sections.

    Each is built when the first table of its section is read: a small file needs few of them.
    """
    sections = (*SINGLE_SECTIONS, *NAMED_SECTIONS, *LISTED_SECTIONS)
    fields: dict[str, Any] = {
        name: (field.annotation, field)
        for name, field in RuleFile.model_fields.items()
        if name == section or (section is None and name not in sections)
    }
    return create_model("OneSection", __base__=TableModel, **fields)
