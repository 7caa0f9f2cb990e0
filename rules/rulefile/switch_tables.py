"""`[switches]`: on-off switches, switches of values or numbers, and what turns them."""

from __future__ import annotations

from typing import Annotated, Any, Literal

from pydantic import BeforeValidator, Discriminator, Field, Tag, model_validator

from rules.fields.conditions import SIGNAL_KINDS
from rules.fields.names import Reference, SwitchState, SwitchValue
from rules.fields.numbers import Channels, Controller, Note, NumberRange, Program, whole
from rules.fields.table_model import OneOrMany, TableModel, fault, shown
from rules.midi.suggestions import nearest
from rules.rulefile.accepted import ACCEPT, Accepted


def _signal(raw: Any) -> Any:
    if not isinstance(raw, str) or raw not in SIGNAL_KINDS:
        kinds = ", ".join(sorted(SIGNAL_KINDS))
        raise fault(f"{shown(raw)} can't be a trigger: allowed are {kinds}{nearest(str(raw), SIGNAL_KINDS)}")
    return raw


class Trigger(TableModel):
    """What turns a switch: a note, a controller (on from 64 up), a program change, or clock and transport by `kind`.

    The trigger is not passed on, press and release, unless `pass_on` is true (ruling 25). `channel` None is any.
    """

    source: Reference = Field(
        alias="from",
        description="names the port that the press comes from",
        examples=['giant = { from = "keyboard", controller = 66 }'],
    )
    channel: Channels | None = Field(
        default=None,
        description="asks for channels, 1 to 16",
        examples=['giant = { from = "keyboard", channel = 1, controller = 66 }'],
        json_schema_extra={"default": "all"},
    )
    note: Note | None = Field(
        default=None,
        description="reacts to this note",
        examples=['mirrors = { from = "pads", note = "E5" }'],
    )
    controller: Controller | None = Field(
        default=None,
        description="reacts to this controller; 64 and above is on",
        examples=['giant = { from = "keyboard", controller = "sostenuto" }'],
    )
    program: Program | None = Field(
        default=None,
        description="reacts to this program change",
        examples=['solo = { from = "keyboard", program = 5 }'],
    )
    kind: Annotated[str, BeforeValidator(_signal)] | None = Field(
        default=None,
        description="reacts to clock or transport",
        examples=['playing = { from = "keyboard", kind = "start" }'],
    )
    pass_on: bool = Field(
        default=False,
        description="sends the press on to the rules as well",
        examples=['giant = { from = "keyboard", controller = 66, pass_on = true }'],
    )

    long: Annotated[int, whole("a time in milliseconds", 200, 5000)] | None = Field(
        default=None,
        description="reacts when the note or controller is held this long, 200 to 5000 ms",
        examples=['solo = { from = "keyboard", controller = 66, long = 600 }'],
        json_schema_extra={"default": "the press"},
    )

    @model_validator(mode="after")
    def _one_thing(self) -> Trigger:
        given = [name for name in ("note", "controller", "program", "kind") if getattr(self, name) is not None]
        if len(given) != 1:
            raise fault("one thing is one trigger: write `note`, `controller`, `program` or `kind`")
        if self.kind is not None and self.channel is not None:
            raise fault(f"`{self.kind}` has no channel")
        if self.long is not None and self.note is None and self.controller is None:
            raise fault("`long` needs a note or a controller, which can be held: remove it")
        return self

    def shared_channels(self, other: Trigger) -> frozenset[int]:
        """Return the channels, 1 to 16, on which a note or controller pulls both; none where they listen apart."""
        if self.source != other.source or (self.note, self.controller) != (other.note, other.controller):
            return frozenset()
        if self.note is None and self.controller is None:
            return frozenset()
        every = frozenset(range(1, 17))
        return (every if self.channel is None else self.channel) & (every if other.channel is None else other.channel)


class SetTrigger(Trigger):
    """A trigger that chooses a value."""

    value: SwitchState = Field(
        description="chooses this value or number",
        examples=['place = { values = ["garden", "cave"], set = { from = "pads", note = "D6", value = "cave" } }'],
    )


class AdvanceTrigger(Trigger):
    """A trigger that advances by so many; `wrap` of the switch says what comes after its ends."""

    by: Annotated[int, whole("a number of values to advance", -127, 127)] = Field(
        default=1,
        description="goes on by this many places, -127 to 127",
        examples=['key = { numbers = "-3..3", advance = { from = "pads", note = "F6", by = -1 } }'],
    )

    @model_validator(mode="after")
    def _goes_on(self) -> AdvanceTrigger:
        if self.by == 0:
            raise fault("`by = 0` goes to no other value: write 1 to go on, or -1 to go back")
        return self


SetTriggers = Annotated[tuple[SetTrigger, ...], OneOrMany]

AdvanceTriggers = Annotated[tuple[AdvanceTrigger, ...], OneOrMany]


class OnOffSwitch(Trigger):
    """A switch that is on or off: `momentary` while the trigger is down, `toggle` at each press (ruling 25)."""

    mode: Literal["momentary", "toggle"] = Field(
        default="toggle",
        description='chooses `"toggle"` or `"momentary"`',
        examples=['giant = { from = "keyboard", controller = 66, mode = "momentary" }'],
    )
    initial: bool = Field(
        default=False,
        description='sets the state at the beginning; not with `"momentary"`',
        examples=['giant = { from = "keyboard", controller = 66, initial = true }'],
    )
    accept: Accepted = Field(
        default_factory=dict,
        description=ACCEPT,
        examples=['giant = { from = "keyboard", controller = 66, accept = { "unread switch" = "for tests" } }'],
    )

    @model_validator(mode="after")
    def _modes(self) -> OnOffSwitch:
        if self.mode == "momentary" and "initial" in self.model_fields_set:
            raise fault('a momentary switch is off at first: remove `initial`, or write `mode = "toggle"`')
        if self.mode == "momentary" and (self.program is not None or self.kind is not None):
            raise fault('`mode = "momentary"` needs a note or a controller, which can be released')
        return self

    @property
    def triggers(self) -> tuple[Trigger, ...]:
        """What turns it: the switch itself says it."""
        return (self,)

    @property
    def states(self) -> tuple[bool, ...]:
        """What it can be at, in order."""
        return (False, True)

    @property
    def first(self) -> bool:
        """The state it has at first."""
        return self.initial


class ValueSwitch(TableModel):
    """A switch with named values; at first it has `initial`, or the first."""

    values: Annotated[tuple[SwitchValue, ...], OneOrMany, Field(min_length=2, max_length=64)] = Field(
        description="names the values, 2 to 64 of them",
        examples=['place = { values = ["garden", "cave"] }'],
    )
    initial: str | None = Field(
        default=None,
        description="sets the value at the beginning",
        examples=['place = { values = ["garden", "cave"], initial = "cave" }'],
        json_schema_extra={"default": "the first value"},
    )
    set: SetTriggers = Field(
        default=(),
        description="lists what chooses a value",
        examples=['place = { values = ["garden", "cave"], set = { from = "pads", note = "D6", value = "cave" } }'],
    )
    advance: AdvanceTriggers = Field(
        default=(),
        description="lists what goes on to another value",
        examples=['place = { values = ["garden", "cave"], advance = { from = "pads", note = "D6" } }'],
    )
    wrap: bool = Field(
        default=True,
        description="lets the first value follow the last; `false` stops at the ends",
        examples=['place = { values = ["garden", "cave"], wrap = false }'],
    )
    accept: Accepted = Field(
        default_factory=dict,
        description=ACCEPT,
        examples=['place = { values = ["garden", "cave"], accept = { "unset switch" = "set by phone" } }'],
    )

    @model_validator(mode="after")
    def _each_once(self) -> ValueSwitch:
        if len(frozenset(self.values)) != len(self.values):
            raise fault("`values` has a value twice: write each once")
        return self

    @property
    def triggers(self) -> tuple[SetTrigger | AdvanceTrigger, ...]:
        """What turns it."""
        return (*self.set, *self.advance)

    @property
    def states(self) -> tuple[str, ...]:
        """What it can be at, in order."""
        return self.values

    @property
    def first(self) -> str:
        """The value it has at first."""
        return self.initial if self.initial is not None else self.values[0]


class NumberSwitch(TableModel):
    """A switch that counts: `numbers = "-6..6"`; at first it has `initial`, or the number nearest to 0."""

    numbers: NumberRange = Field(
        description="sets the lowest and highest number, within -64 to 64",
        examples=['key = { numbers = "-3..3" }'],
    )
    initial: int | None = Field(
        default=None,
        description="sets the number at the beginning",
        examples=['key = { numbers = "-3..3", initial = 2 }'],
        json_schema_extra={"default": "the number nearest to 0"},
    )
    set: SetTriggers = Field(
        default=(),
        description="lists what chooses a number",
        examples=['key = { numbers = "-3..3", set = { from = "pads", note = "C6", value = 0 } }'],
    )
    advance: AdvanceTriggers = Field(
        default=(),
        description="lists what counts",
        examples=['key = { numbers = "-3..3", advance = { from = "pads", note = "E6" } }'],
    )
    wrap: bool = Field(
        default=False,
        description="lets the lowest number follow the highest; else it stops at the ends",
        examples=['key = { numbers = "-3..3", wrap = true }'],
    )
    accept: Accepted = Field(
        default_factory=dict,
        description=ACCEPT,
        examples=['key = { numbers = "-3..3", accept = { "unset switch" = "set by phone" } }'],
    )

    @property
    def triggers(self) -> tuple[SetTrigger | AdvanceTrigger, ...]:
        """What turns it."""
        return (*self.set, *self.advance)

    @property
    def states(self) -> tuple[int, ...]:
        """What it can be at, in order."""
        return tuple(range(self.numbers[0], self.numbers[1] + 1))

    @property
    def first(self) -> int:
        """The number it has at first."""
        low, high = self.numbers
        return self.initial if self.initial is not None else max(low, min(high, 0))


def _switch_kind(raw: Any) -> str:
    """Return which kind of switch a table is, by the key that only it has."""
    if isinstance(raw, ValueSwitch) or (isinstance(raw, dict) and "values" in raw):
        return "a switch of values"
    if isinstance(raw, NumberSwitch) or (isinstance(raw, dict) and "numbers" in raw):
        return "a switch of numbers"
    return "an on-off switch"


Switch = Annotated[
    Annotated[OnOffSwitch, Tag("an on-off switch")]
    | Annotated[ValueSwitch, Tag("a switch of values")]
    | Annotated[NumberSwitch, Tag("a switch of numbers")],
    Discriminator(_switch_kind),
]
