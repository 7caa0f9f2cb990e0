"""`[clock]`: the clock of our own, and the tempo of beats."""

from __future__ import annotations

from typing import Annotated, Final

from pydantic import Field

from rules.fields.names import Reference
from rules.fields.numbers import decimal, whole
from rules.fields.table_model import OneOrMany, TableModel
from rules.rulefile.accepted import ACCEPT, Accepted
from rules.rulefile.switch_tables import Trigger

OWN: Final = "own"
"""The `clock` of an output that hears ours."""

SLOWEST_BPM: Final = 10
FASTEST_BPM: Final = 1000

Tempo = Annotated[float, decimal("a tempo", SLOWEST_BPM, FASTEST_BPM)]
"""Quarter notes a minute."""

ClockTriggers = Annotated[tuple[Trigger, ...], OneOrMany]


class ClockTable(TableModel):
    """The clock of our own: its tempo (BPM), the clock that it follows, and what starts, stops and taps it."""

    bpm: Tempo | None = Field(
        default=None,
        description="sets the tempo, 10 to 1000 BPM, also for beats where neither a recording nor a clock has one",
        examples=["bpm = 96"],
        json_schema_extra={"default": "`120`"},
    )
    follow: Reference | None = Field(
        default=None,
        description="names an input whose clock and transport yours follows while that clock runs",
        examples=['follow = "seq"'],
    )
    go_on: bool = Field(
        default=False,
        description="keeps your clock going at the same tempo when the clock that it follows stops",
        examples=["go_on = true"],
    )
    beats_a_bar: Annotated[int, whole("a number of beats", 1, 64)] = Field(
        default=4,
        description="says how many quarter notes a bar has, 1 to 64, to count bars",
        examples=["beats_a_bar = 3"],
    )
    start: ClockTriggers = Field(
        default=(),
        description="lists what starts your clock from the beginning, as the triggers of switches do",
        examples=['start = { from = "pads", note = "C1" }'],
    )
    go: ClockTriggers = Field(
        default=(),
        alias="continue",
        description="lists what lets it continue where it stopped",
        examples=['continue = { from = "pads", note = "D1" }'],
    )
    stop: ClockTriggers = Field(
        default=(),
        description="lists what stops it",
        examples=['stop = { from = "pads", note = "E1" }'],
    )
    tap: ClockTriggers = Field(
        default=(),
        description="lists what taps the tempo, as you tap a foot",
        examples=['tap = { from = "keyboard", controller = "soft pedal" }'],
    )

    accept: Accepted = Field(
        default_factory=dict,
        description=ACCEPT,
        examples=['accept = { "unheard clock" = "for the second set" }'],
    )

    def triggers(self) -> dict[str, tuple[Trigger, ...]]:
        """Return what pulls the clock, by the key of the rule file."""
        return {"start": self.start, "continue": self.go, "stop": self.stop, "tap": self.tap}


NO_CLOCK: Final = ClockTable.model_construct()
"""What counts where no rule file has a `[clock]`."""
