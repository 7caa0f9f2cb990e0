"""`map`: turns controllers, bends, pressure, programs and notes into one another, and notes into other notes.

It is two steps under one name: a table of numbers, or a value made into another. Here is how either is written.
"""

from __future__ import annotations

from functools import cached_property
from typing import Annotated, Any, ClassVar, Final, Literal

from pydantic import BeforeValidator, Field, ValidationInfo, field_validator, model_validator

from rules.errors import NotationError
from rules.fields.numbers import Controller, Note, Program, read_ends, read_range
from rules.fields.table_model import EachOnce, fault, naming_of, shown
from rules.midi.kind_names import kind_hint, kind_named
from rules.midi.messages import BEND_CENTRE, SYSEX
from rules.midi.notation import Naming, parse_controller, parse_note
from rules.program.forms import Form
from rules.program.loss_reasons import MAP
from rules.steps.base import Step, StepContext
from rules.steps.number_table import NumberTable
from rules.steps.value_map import End, ValueMap

_KINDS: Final = ("controller", "pitch-bend", "channel-pressure", "key-pressure", "program", "note")


def _end(raw: Any, info: ValidationInfo) -> Any:
    if isinstance(raw, End):
        return raw
    if not isinstance(raw, str) or not raw.strip():
        raise fault(
            f'{shown(raw)} can\'t be mapped: write one such as "controller modulation", "pitch-bend", "note C1"'
        )
    word, _, rest = raw.strip().partition(" ")
    kind = kind_named(word)
    if kind not in _KINDS:
        raise fault(f'"{word}" can\'t be mapped: allowed are {", ".join(_KINDS)}{kind_hint(word, _KINDS)}')
    try:
        if kind == "controller" and not rest:
            raise fault('write which controller, by name or number, as in "controller modulation"')
        if kind == "controller":
            return End(kind, parse_controller(rest))
        if kind in ("note", "key-pressure") and rest:
            return End(kind, parse_note(rest, naming_of(info)))
    except NotationError as error:
        raise fault(str(error)) from None
    if rest:
        raise fault(f"`{kind}` has no number: remove what follows it")
    return End(kind, None)


EndField = Annotated[End, BeforeValidator(_end)]


class MapStep(Step):
    """`map = { from = "controller mod", to = "pitch-bend", in = "0..127", out = "0..8191" }`, or tables of numbers.

    - `from` / `to`: `controller NAME`, `pitch-bend`, `channel-pressure`, `key-pressure [NOTE]`, `program`,
      `note [NOTE]`. A note has its velocity as value, a note-off has 0. The value is clamped to `in` and spread
      over `out`; `out = "127..0"` turns it round. Bends count from -8192 to 8191, and the middle
      stays the middle (ruling 21).
    - `bits = 14`: the controllers named are pairs of 7 bits, n and n + 32, with values 0..16383.
    - `notes`, `controllers`, `programs`: tables old = new; `others` (`pass` or `drop`) says what happens to the rest.

    What a map doesn't name passes.
    """

    key: ClassVar[str] = "map"
    loss: ClassVar[str] = MAP
    source: EndField | None = Field(
        default=None,
        alias="from",
        description="names what is turned into something else",
        examples=['{ map = { from = "channel-pressure", to = "controller modulation" } }'],
    )
    to: EndField | None = Field(
        default=None,
        description="names what it becomes",
        examples=['{ map = { from = "controller modulation", to = "pitch-bend" } }'],
    )
    bits: Literal[7, 14] = Field(
        default=7,
        description="reads and writes controllers 0 to 31 with 7 or 14 bits",
        examples=['{ map = { from = "pitch-bend", to = "controller 16", bits = 14 } }'],
    )
    inside: tuple[int, int] | None = Field(
        default=None,
        alias="in",
        description="uses this part of the incoming range",
        examples=['{ map = { from = "pitch-bend", to = "controller modulation", in = "0..8191" } }'],
        json_schema_extra={"default": "the whole range"},
    )
    out: tuple[int, int] | None = Field(
        default=None,
        description="spreads it over this range; the higher end first turns it round",
        examples=['{ map = { from = "controller foot", to = "controller volume", out = "127..40" } }'],
        json_schema_extra={"default": "the whole range"},
    )
    notes: Annotated[dict[Note, Note], EachOnce] = Field(
        default_factory=dict,
        description="replaces notes, old = new",
        examples=['{ map = { notes = { C3 = "C2", D3 = "D2" } } }'],
    )
    controllers: Annotated[dict[Controller, Controller], EachOnce] = Field(
        default_factory=dict,
        description="replaces controllers, old = new",
        examples=['{ map = { controllers = { foot = "volume" } } }'],
    )
    programs: Annotated[dict[Program, Program], EachOnce] = Field(
        default_factory=dict,
        description="replaces programs, old = new",
        examples=["{ map = { programs = { 1 = 17, 2 = 20 } } }"],
    )
    others: Literal["pass", "drop"] = Field(
        default="pass",
        description='says what happens to numbers that the table doesn\'t name: `"pass"` or `"drop"`',
        examples=['{ map = { notes = { C3 = "C2" }, others = "drop" } }'],
    )

    @field_validator("inside", "out", mode="before")
    @classmethod
    def _read_values(cls, raw: Any, info: ValidationInfo) -> Any:
        """A range whose open ends depend on what is mapped; `out` may run downwards."""
        if raw is None or isinstance(raw, tuple):
            return raw
        end = info.data.get("source" if info.field_name == "inside" else "to")
        low, high = end.span(info.data.get("bits", 7)) if isinstance(end, End) else (-BEND_CENTRE, 16383)
        what = f"a value of `{end.kind}`" if isinstance(end, End) else "a value"
        return (read_range if info.field_name == "inside" else read_ends)(raw, what, low, high, info)

    @model_validator(mode="after")
    def _fits_together(self) -> MapStep:
        tables = [name for name in ("notes", "controllers", "programs") if getattr(self, name)]
        if tables:
            if len(tables) > 1 or self.source or self.to or self.inside or self.out or self.bits != 7:
                raise fault(
                    "a map has one table (`notes`, `controllers` or `programs`), or `from` and `to`: "
                    "write one of the two"
                )
            return self
        if self.source is None or self.to is None:
            raise fault(
                'a map needs a table, or `from` and `to` as in { from = "channel-pressure", to = "controller mod" }'
            )
        if self.others != "pass":
            raise fault("`others` goes with a table of notes, controllers or programs")
        self._check_ends(self.source, self.to)
        return self

    def _check_ends(self, source: End, to: End) -> None:
        if to.kind == "note" and source.kind == "program":
            raise fault("a program change is never released, so its note would never end: use `send`")
        if to.kind == "note" and to.number is None and source.kind != "note":
            raise fault('write which note, as in to = "note C3"')
        if to.kind == "key-pressure" and to.number is None and source.kind not in ("note", "key-pressure"):
            raise fault('write of which note, as in to = "key-pressure C3"')
        if self.bits == 14 and not (source.is_wide(14) or to.is_wide(14)):
            raise fault("`bits = 14` needs a controller 0-31, which has its fine half at 32-63")
        for end, span, name in ((source, self.inside, "in"), (to, self.out, "out")):
            low, high = end.span(self.bits)
            if span is not None and not (low <= min(span) and max(span) <= high):
                raise fault(f"`{name}` is too wide for {end.kind}: write a range within {low}..{high}")

    @cached_property
    def mapping(self) -> NumberTable | ValueMap:
        """The one of the two that this map is."""
        if self.source is not None and self.to is not None:
            return ValueMap(self.source, self.to, self.bits, self.inside, self.out)
        drops_others = self.others == "drop"
        if self.notes:
            return NumberTable("notes", self.notes, drops_others)
        if self.controllers:
            return NumberTable("controllers", self.controllers, drops_others)
        return NumberTable("programs", self.programs, drops_others)

    def words(self, naming: Naming) -> str:
        """The step in words."""
        return f"map {self.mapping.words(naming)}"

    @property
    def remembers(self) -> bool:
        """Some maps of values do."""
        return self.mapping.remembers

    def fold(self, form: Form, context: StepContext) -> list[Form]:
        """Map what is named; the rest passes."""
        return [form] if form.status >= SYSEX else self.mapping.fold(form, context)
