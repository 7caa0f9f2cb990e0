"""The form of a rule file: every table, every key, every allowed value that one file can decide for itself.

What needs all files together - whether a named port, device or switch exists - is checked in `checking`.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Annotated, Any, Literal

from pydantic import AfterValidator, BeforeValidator, Discriminator, Field, Tag, create_model, model_validator

from rules.errors import NotationError
from rules.fields.conditions import SIGNAL_KINDS, Condition, Conditions
from rules.fields.values import (
    Channel,
    Channels,
    Controller,
    Messages,
    Name,
    Names,
    Note,
    NoteRange,
    NumberRange,
    OneOrMany,
    Part,
    Pattern,
    PatternOrTrue,
    Program,
    Reference,
    SwitchState,
    SwitchValue,
    TimedMessages,
    Title,
    decimal,
    fault,
    shown,
    whole,
)
from rules.fields.when import WhenField
from rules.midi.messages import CONTROLLER_NUMBERS
from rules.midi.notation import nearest, parse_controller
from rules.steps.base import Step
from rules.steps.registry import STEPS


class Stage(Part):
    """One entry of `steps`: exactly one step, and the switches it waits for."""

    when: WhenField | None = None

    @property
    def step(self) -> Step:
        """The one step given."""
        return next(step for step in self._given())

    def _given(self) -> list[Step]:
        return [step for kind in STEPS if (step := getattr(self, kind.key)) is not None]

    @model_validator(mode="after")
    def _one_step(self) -> Stage:
        given = [step.key for step in self._given()]
        if len(given) != 1:
            found = f"this has {' and '.join(f'`{key}`' for key in given)}" if given else "this has none"
            raise fault(f"an entry of `steps` holds one step ({found}): {', '.join(kind.key for kind in STEPS)}")
        return self


if TYPE_CHECKING:
    StageTable = Stage
else:
    StageTable = create_model("StageTable", __base__=Stage, **{kind.key: (kind | None, None) for kind in STEPS})
Steps = Annotated[tuple[StageTable, ...], OneOrMany]


class Port(Part):
    """A computer's port under a name of ours. Patterns are globs of `*` and `?`, case ignored (ruling 7).

    `port` is both directions, `input` and `output` one; `true` takes our name as the pattern, and so does a port that
    says none of the three, both ways. `wire = "din"` is paced as a 5-pin wire; `clock` names the port whose clock and
    transport go out here, or "none"; `reset` passes system reset on; `steps` act before every rule.
    """

    port: Pattern | None = None
    input: PatternOrTrue | None = None
    output: PatternOrTrue | None = None
    virtual: bool = False
    wire: Literal["din", "usb"] = "usb"
    clock: Reference | None = None
    reset: bool = False
    steps: Steps = ()

    @model_validator(mode="after")
    def _directions(self) -> Port:
        if self.port is not None and (self.input is not None or self.output is not None):
            raise fault("`port` is both directions: write it alone, or `input` and `output`")
        if not self.can_send and (self.clock is not None or self.reset):
            raise fault("`clock` and `reset` say what goes out here, and this port has no output")
        return self

    @property
    def can_receive(self) -> bool:
        """Whether messages can come from here."""
        return self.output is None or self.input is not None

    @property
    def can_send(self) -> bool:
        """Whether messages can go here."""
        return self.input is None or self.output is not None


class Device(Part):
    """An instrument at the end of a port, as its manual says; its channel (1-16) is set last (ruling 8)."""

    port: Reference
    channel: Channel | None = None
    notes: NoteRange | None = None
    outside: Literal["pass", "drop", "fold"] = "pass"
    start: Messages = ()
    steps: Steps = ()

    @model_validator(mode="after")
    def _range_given(self) -> Device:
        if self.outside != "pass" and self.notes is None:
            raise fault("`outside` needs `notes`, the range of the device")
        if self.outside == "fold" and self.notes is not None and self.notes[1] - self.notes[0] < 11:
            raise fault('`outside = "fold"` needs a range of at least an octave')
        return self


def _signal(raw: Any) -> Any:
    if not isinstance(raw, str) or raw not in SIGNAL_KINDS:
        kinds = ", ".join(sorted(SIGNAL_KINDS))
        raise fault(f"{shown(raw)} can't turn a switch: allowed are {kinds}{nearest(str(raw), SIGNAL_KINDS)}")
    return raw


class Trigger(Part):
    """What turns a switch: a note, a controller (on from 64 up), a program change, or clock and transport by `kind`.

    The trigger is swallowed, press and release, unless `thru` (ruling 25). `channel` None is any.
    """

    source: Reference = Field(alias="from")
    channel: Channels | None = None
    note: Note | None = None
    controller: Controller | None = None
    program: Program | None = None
    kind: Annotated[str, BeforeValidator(_signal)] | None = None
    thru: bool = False

    @model_validator(mode="after")
    def _one_thing(self) -> Trigger:
        given = [name for name in ("note", "controller", "program", "kind") if getattr(self, name) is not None]
        if len(given) != 1:
            raise fault("a switch is turned by one thing: write `note`, `controller`, `program` or `kind`")
        if self.kind is not None and self.channel is not None:
            raise fault(f"`{self.kind}` has no channel")
        return self


class SetTrigger(Trigger):
    """A trigger that chooses a value."""

    value: SwitchState


class StepTrigger(Trigger):
    """A trigger that goes on by so many: numbers stop at their ends, values go round."""

    by: Annotated[int, whole("a number of places to go on", -127, 127)]


SetTriggers = Annotated[tuple[SetTrigger, ...], OneOrMany]
StepTriggers = Annotated[tuple[StepTrigger, ...], OneOrMany]


class OnOffSwitch(Trigger):
    """A switch that is on or off: `hold` while the trigger is down, `toggle` at each press (ruling 25)."""

    mode: Literal["hold", "toggle"] = "toggle"
    start: bool = False

    @model_validator(mode="after")
    def _modes(self) -> OnOffSwitch:
        if self.mode == "hold" and "start" in self.model_fields_set:
            raise fault('a switch that holds starts off: leave `start` away, or use `mode = "toggle"`')
        if self.mode == "hold" and (self.program is not None or self.kind is not None):
            raise fault('`mode = "hold"` needs a note or a controller, which is let go again')
        return self

    @property
    def state_count(self) -> int:
        """In how many ways it can be set."""
        return 2


class ValueSwitch(Part):
    """A switch with named values; it starts with `start`, or the first."""

    values: Annotated[tuple[SwitchValue, ...], OneOrMany, Field(min_length=2, max_length=64)]
    start: str | None = None
    set: SetTriggers = ()
    step: StepTriggers = ()

    @model_validator(mode="after")
    def _each_once(self) -> ValueSwitch:
        if len(frozenset(self.values)) != len(self.values):
            raise fault("`values` holds one value twice")
        return self

    @property
    def state_count(self) -> int:
        """In how many ways it can be set."""
        return len(self.values)

    @property
    def first(self) -> str:
        """The value it starts with."""
        return self.start if self.start is not None else self.values[0]


class NumberSwitch(Part):
    """A switch that counts: `numbers = "-6..6"`; it starts with `start`, or the number nearest to 0."""

    numbers: NumberRange
    start: int | None = None
    set: SetTriggers = ()
    step: StepTriggers = ()

    @property
    def state_count(self) -> int:
        """In how many ways it can be set."""
        return self.numbers[1] - self.numbers[0] + 1

    @property
    def first(self) -> int:
        """The number it starts with."""
        low, high = self.numbers
        return self.start if self.start is not None else max(low, min(high, 0))


def _switch_kind(raw: Any) -> str:
    """Which kind of switch a table is, by the key that only it has."""
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


class Outlet(Part):
    """Where messages go: to these names, on any channel or, from a line of a table, only on these (1-16).

    No names at all means that messages end here.
    """

    channels: Channels | None = None
    to: Names


def _outlets(raw: Any) -> Any:
    if isinstance(raw, dict):
        return tuple({"channels": channels, "to": names} for channels, names in raw.items())
    if isinstance(raw, tuple) and all(isinstance(item, Outlet) for item in raw):
        return raw
    return ({"to": raw},)


Destination = Annotated[tuple[Outlet, ...], BeforeValidator(_outlets)]
"""A name, a list of names, or a table by channel - the channel that a message has at the end of the chain. A message
without a channel (sysex) goes to the names of every line."""


def _some_source(names: tuple[str, ...]) -> tuple[str, ...]:
    if not names:
        raise fault("an empty list: name at least one port that messages come from")
    return names


Sources = Annotated[Names, AfterValidator(_some_source)]


class Zone(Condition):
    """One part of a split: judged by the key as played (ruling 6). A zone without `to` uses the rule's."""

    when: WhenField | None = None
    steps: Steps = ()
    to: Destination | None = None


def _catchable(raw: Any) -> Any:
    if isinstance(raw, tuple):
        return raw
    found = []
    for item in raw if isinstance(raw, list) else [raw]:
        if item in CATCHABLE_KINDS:
            found.append(item)
            continue
        try:
            found.append(parse_controller(shown(item).strip('"')))
        except NotationError:
            known = [*CONTROLLER_NUMBERS, *CATCHABLE_KINDS]
            hint = nearest(str(item), known)
            kinds = ", ".join(CATCHABLE_KINDS)
            raise fault(f"{shown(item)} can't be caught up: name a controller or {kinds}{hint}") from None
    return tuple(found)


CATCHABLE_KINDS = ("program", "pressure", "pitch-bend")


class Rule(Part):
    """A cable: what arrives on `from` and fits `match` goes through `steps` to `to`, or on to its zones."""

    name: Title | None = None
    source: Sources = Field(alias="from")
    match: Conditions = ()
    otherwise: bool = False
    when: WhenField | None = None
    catch_up: Annotated[tuple[int | str, ...], BeforeValidator(_catchable)] = ()
    steps: Steps = ()
    zones: tuple[Zone, ...] = Field(default=(), strict=False)
    to: Destination | None = None

    @model_validator(mode="after")
    def _leads_somewhere(self) -> Rule:
        if self.to is None and not self.zones:
            raise fault("a rule leads somewhere: write `to`, or zones that have one; `to = []` swallows")
        if self.to is None and any(zone.to is None for zone in self.zones):
            raise fault("a zone without `to` uses the rule's, and this rule has none")
        return self


class OnTurn(Part):
    """What is sent when a condition on switches becomes true: messages by device or port."""

    switch: WhenField
    send: dict[str, Messages]


class RuleTest(Part):
    """A proof in the rule file (ruling 35): `send` arrives on `from`; exactly `expect` comes out, else silence."""

    name: Title
    source: Reference = Field(alias="from")
    send: TimedMessages
    expect: dict[str, TimedMessages]
    switches: dict[str, SwitchState] = Field(default_factory=dict)

    @model_validator(mode="after")
    def _asserts(self) -> RuleTest:
        if not self.send:
            raise fault("a test that sends nothing proves nothing: give `send` at least one message")
        return self


class RuleFile(Part):
    """One whole rule file."""

    middle_c: Literal["C3", "C4"] = "C4"
    first_program: Annotated[int, whole("the number of the first program", 0, 1)] = 1
    bpm: Annotated[float, decimal("a tempo", 10, 1000)] | None = None
    ports: dict[Name, Port] = Field(default_factory=dict)
    devices: dict[Name, Device] = Field(default_factory=dict)
    switches: dict[Name, Switch] = Field(default_factory=dict)
    rules: tuple[Rule, ...] = Field(default=(), strict=False)
    on: tuple[OnTurn, ...] = Field(default=(), strict=False)
    tests: tuple[RuleTest, ...] = Field(default=(), strict=False)
