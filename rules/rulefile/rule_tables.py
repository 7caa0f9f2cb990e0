"""`[[rules]]`, `[[on_switch]]` and `[[tests]]`: where messages go, what a switch sends, and what must come out."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Annotated, Any, Literal

from pydantic import AfterValidator, BeforeValidator, Field, model_validator

from rules.errors import NotationError
from rules.fields.conditions import Condition, Conditions
from rules.fields.names import Names, Reference, SwitchState, Title
from rules.fields.numbers import Channels
from rules.fields.table_model import BuiltWhenNeeded, OneOrMany, TableModel, fault, shown
from rules.fields.when import WhenField
from rules.fields.written_messages import DelayedMessages, TimedMessages
from rules.midi.controllers import CONTROLLER_NUMBERS
from rules.midi.kind_names import kind_hint, kind_named
from rules.midi.notation import parse_controller
from rules.rulefile.accepted import ACCEPT, Accepted
from rules.rulefile.clock_table import Tempo
from rules.rulefile.stages import Stage, Steps


class Outlet(TableModel):
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
        raise fault("this list is empty: name at least one port that messages come from")
    return names


Sources = Annotated[Names, AfterValidator(_some_source)]


class Zone(Condition):
    """One part of a split: judged by the key as played (ruling 6). A zone without `to` uses the rule's."""

    name: Title | None = Field(
        default=None,
        description="names the zone in errors and traces",
        examples=['name = "left hand"'],
        json_schema_extra={"default": "its number"},
    )
    when: WhenField | None = Field(
        default=None,
        description="opens the zone only while switches have these states",
        examples=['when = "place = garden"'],
        json_schema_extra={"default": "always"},
    )
    steps: Steps = Field(
        default=(),
        description="changes the messages of this zone, after the steps of the rule",
        examples=["steps = [{ transpose = -12 }]"],
    )
    to: Destination | None = Field(
        default=None,
        description="names where the zone goes",
        examples=['to = "piano"'],
        json_schema_extra={"default": "the `to` of the rule"},
    )


def _chased(raw: Any) -> Any:
    if isinstance(raw, tuple):
        return raw
    found: list[int | str] = []
    for item in raw if isinstance(raw, list) else [raw]:
        if isinstance(item, str) and kind_named(item) in CHASED_KINDS:
            found.append(kind_named(item))
            continue
        try:
            found.append(parse_controller(shown(item).strip('"')))
        except NotationError:
            known = [*CONTROLLER_NUMBERS, *CHASED_KINDS]
            hint = kind_hint(str(item), known)
            kinds = ", ".join(CHASED_KINDS)
            raise fault(f"{shown(item)} can't be chased: name a controller or {kinds}{hint}") from None
    return tuple(found)


CHASED_KINDS = ("program", "channel-pressure", "pitch-bend")


class Rule(TableModel):
    """A cable: what arrives on `from` and fits `match` goes through `steps` to `to`, or on to its zones."""

    name: Title | None = Field(
        default=None,
        description="names the rule in messages and reports",
        examples=['name = "left hand"'],
        json_schema_extra={"default": "its number"},
    )
    source: Sources = Field(
        alias="from",
        description="names the port, or a list of ports, that messages come from",
        examples=['from = ["keyboard", "pads"]'],
    )
    match: Conditions = Field(
        default=(),
        description="chooses messages; a list of tables means any of them",
        examples=["match = { channel = 10 }"],
        json_schema_extra={"default": "all messages"},
    )
    otherwise: bool = Field(
        default=False,
        description="matches only what no other rule of that source matched",
        examples=["otherwise = true"],
    )
    when: WhenField | None = Field(
        default=None,
        description="lets the rule match only while switches have these states",
        examples=['when = "place = cave"'],
        json_schema_extra={"default": "always"},
    )
    chase: Annotated[tuple[int | str, ...], BeforeValidator(_chased)] = Field(
        default=(),
        description="sends last known values first when a switch opens the rule",
        examples=['chase = ["sustain", "volume"]'],
    )
    steps: Steps = Field(
        default=(),
        description="changes the messages, in this order",
        examples=["steps = [{ transpose = 12 }]"],
    )
    zones: tuple[Annotated[Zone, BuiltWhenNeeded(lambda: Zone)], ...] = Field(
        default=(),
        strict=False,
        description="splits the messages, each zone with its own target",
        examples=["[[rules.zones]]"],
    )
    to: Destination | None = Field(
        default=None,
        description="names a port or device, a list of them, or a table by channel; `[]` discards",
        examples=['to = ["piano", "reed box"]'],
        json_schema_extra={"default": "required without zones"},
    )
    accept: Accepted = Field(
        default_factory=dict,
        description=ACCEPT,
        examples=['accept = { "split gap: C4" = "the cue key" }'],
    )

    @model_validator(mode="after")
    def _leads_somewhere(self) -> Rule:
        if self.to is None and not self.zones:
            raise fault("this rule leads nowhere: write `to`, or zones that have one. `to = []` drops")
        if self.to is None and any(zone.to is None for zone in self.zones):
            raise fault("this zone has no `to`, and neither has its rule: write one")
        return self

    def branches(self) -> Iterator[Branch]:
        """The ways through the rule, in the order of the file: one for each zone, or the rule by itself."""
        if not self.zones:
            yield Branch(None, 0, self.steps, self.to or ())
        for number, zone in enumerate(self.zones):
            outlets = self.to if zone.to is None else zone.to
            yield Branch(zone, number, (*self.steps, *zone.steps), outlets or ())


@dataclass(frozen=True, slots=True)
class Branch:
    """One way through a rule: its zone and the number of this, from 0, all steps in a row, and where they lead.

    `zone` is None where the rule has no zones. The steps of the rule come first, then those of the zone.
    """

    zone: Zone | None
    number: int
    stages: tuple[Stage, ...]
    outlets: tuple[Outlet, ...]


Effect = Literal[
    "panic",
    "record on",
    "record off",
    "reload",
    "clock start",
    "clock continue",
    "clock stop",
    "take next",
    "take pause",
    "take end",
]
"""What a pad or pedal may ask of the daemon, of its clock, and of a take that plays."""


class OnSwitch(TableModel):
    """What happens when a condition on switches becomes true: messages go out, and the daemon does things.

    The same happens when a switch that decides about the condition is set to the state that it is in (ruling 25).
    """

    when: WhenField = Field(description="says which condition has to become true", examples=['when = "place = cave"'])
    send: dict[str, DelayedMessages] = Field(
        default_factory=dict,
        description="sends messages, by device or port; times make pauses",
        examples=['send = { organ = ["program 20", "at 200 ms controller volume 80"] }'],
        json_schema_extra={"default": "nothing"},
    )
    do: Annotated[tuple[Effect, ...], OneOrMany] = Field(
        default=(),
        description=(
            'asks the daemon for `"panic"`, `"record on"`, `"record off"`, `"reload"`, `"clock start"`, '
            '`"clock continue"`, `"clock stop"`, `"take next"`, `"take pause"` or `"take end"`'
        ),
        examples=['do = ["record on"]'],
        json_schema_extra={"default": "nothing"},
    )
    bpm: Tempo | None = Field(
        default=None,
        description="sets the tempo of your clock and of beats, 10 to 1000 BPM",
        examples=["bpm = 96"],
        json_schema_extra={"default": "the tempo stays"},
    )
    initially: bool = Field(
        default=True,
        description="sends the messages at the beginning as well, where the condition is true then",
        examples=["initially = false"],
    )
    accept: Accepted = Field(
        default_factory=dict,
        description=ACCEPT,
        examples=['accept = { "unheard clock" = "for the second set" }'],
    )

    @model_validator(mode="after")
    def _does_something(self) -> OnSwitch:
        if "send" not in self.model_fields_set and not self.do and self.bpm is None:
            raise fault("say what happens: give `send` messages, set a `bpm`, or `do` something")
        return self


class RuleTest(TableModel):
    """A proof in the rule file (ruling 35): `play` arrives on `from`; exactly `expect` comes out, else silence."""

    name: Title = Field(description="says what the test proves", examples=['name = "the organ plays an octave lower"'])
    source: Reference = Field(
        alias="from",
        description="names the port that the messages arrive on",
        examples=['from = "keyboard"'],
    )
    play: TimedMessages = Field(
        description="plays a message or a list of them",
        examples=['play = ["note-on 1 C4 100", "note-off 1 C4"]'],
    )
    expect: dict[str, TimedMessages] = Field(
        description="says what comes out, by device or port; `{}` means silence",
        examples=['expect = { organ = "note-on C4 100" }'],
    )
    switches: dict[str, SwitchState] = Field(
        default_factory=dict,
        description="sets switches before the test begins",
        examples=["switches = { low = true }"],
        json_schema_extra={"default": "their initial states"},
    )

    @model_validator(mode="after")
    def _asserts(self) -> RuleTest:
        if not self.play:
            raise fault("this test plays nothing: give `play` at least one message")
        return self
