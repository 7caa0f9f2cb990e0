"""`[[rules]]`, `[[on_switch]]` and `[[tests]]`: where messages go, what a switch sends, and what must come out."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Annotated, Any

from pydantic import AfterValidator, BeforeValidator, Field, model_validator

from rules.errors import NotationError
from rules.fields.conditions import Condition, Conditions
from rules.fields.names import Names, Reference, SwitchState, Title
from rules.fields.numbers import Channels
from rules.fields.part import Part, fault, shown
from rules.fields.when import WhenField
from rules.fields.written_messages import Messages, TimedMessages
from rules.midi.controllers import CONTROLLER_NUMBERS
from rules.midi.kind_names import kind_hint, kind_named
from rules.midi.notation import parse_controller
from rules.rulefile.stages import Stage, Steps


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


class Rule(Part):
    """A cable: what arrives on `from` and fits `match` goes through `steps` to `to`, or on to its zones."""

    name: Title | None = None
    source: Sources = Field(alias="from")
    match: Conditions = ()
    otherwise: bool = False
    when: WhenField | None = None
    chase: Annotated[tuple[int | str, ...], BeforeValidator(_chased)] = ()
    steps: Steps = ()
    zones: tuple[Zone, ...] = Field(default=(), strict=False)
    to: Destination | None = None

    @model_validator(mode="after")
    def _leads_somewhere(self) -> Rule:
        if self.to is None and not self.zones:
            raise fault("a rule leads somewhere: write `to`, or zones that have one; `to = []` drops")
        if self.to is None and any(zone.to is None for zone in self.zones):
            raise fault("a zone without `to` uses the rule's, and this rule has none")
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


class OnSwitch(Part):
    """What is sent when a condition on switches becomes true: messages by device or port."""

    when: WhenField
    send: dict[str, Messages]


class RuleTest(Part):
    """A proof in the rule file (ruling 35): `play` arrives on `from`; exactly `expect` comes out, else silence."""

    name: Title
    source: Reference = Field(alias="from")
    play: TimedMessages
    expect: dict[str, TimedMessages]
    switches: dict[str, SwitchState] = Field(default_factory=dict)

    @model_validator(mode="after")
    def _asserts(self) -> RuleTest:
        if not self.play:
            raise fault("a test that plays nothing proves nothing: give `play` at least one message")
        return self
