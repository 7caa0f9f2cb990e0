"""Conditions: what `match`, zones and `filter` ask of a message.

A condition says which messages it names. Whether a message that lacks the asked quantity fits is for its user to
say (ruling 1): a split takes pedals along, a `drop` doesn't.
"""

from __future__ import annotations

from functools import cached_property
from typing import Annotated, Any, Final

from pydantic import AfterValidator, BeforeValidator, Field, ValidationInfo, field_validator, model_validator

from rules.fields.numbers import Channels, Controllers, Notes, Programs, Velocities, read_range
from rules.fields.table_model import OneOrMany, TableModel, fault, shown
from rules.midi.kind_names import kind_hint, kind_named
from rules.midi.messages import BEND_CENTRE, STATUS_OF_KIND

CHANNEL_KINDS: Final = frozenset(
    {
        "note",
        "note-on",
        "note-off",
        "key-pressure",
        "controller",
        "channel-mode",
        "program",
        "channel-pressure",
        "pitch-bend",
    }
)
"""Kinds that have a channel. `note` is both ons and offs, `channel-mode` the controllers 120-127."""

SIGNAL_KINDS: Final = frozenset(
    {"mtc", "song-position", "song-select", "tune-request", "clock", "start", "continue", "stop"}
)
"""Clock and transport: never routed by rules, but they may trigger `send` and switches (ruling 26)."""

KINDS: Final = CHANNEL_KINDS | SIGNAL_KINDS | {"sysex"}
_VALUED: Final = frozenset({"controller", "channel-mode", "key-pressure", "channel-pressure", "pitch-bend"})


def _kinds(raw: Any) -> frozenset[str]:
    if isinstance(raw, frozenset):
        return raw
    found = set()
    for kind in raw if isinstance(raw, list) else [raw]:
        if not isinstance(kind, str) or kind_named(kind) not in KINDS:
            hint = kind_hint(str(kind), KINDS | STATUS_OF_KIND.keys())
            raise fault(f"{shown(kind)} is not a kind of message: allowed are {', '.join(sorted(KINDS))}{hint}")
        found.add(kind_named(kind))
    if not found:
        raise fault("this list is empty: name at least one kind")
    return frozenset(found)


Kinds = Annotated[frozenset[str], BeforeValidator(_kinds)]


class Condition(TableModel):
    """One table of conditions; all that are given must hold.

    `channel` 1-16, `notes` keys 0-127, `velocity` 1-127, `controller` and `program` 0-127 as on the wire; `value`
    is 0-127, or -8192..8191 with `kind = "pitch-bend"`.
    """

    kind: Kinds | None = Field(
        default=None,
        description="asks for kinds of message, one or a list",
        examples=['kind = ["note", "pitch-bend"]'],
        json_schema_extra={"default": "all"},
    )
    channel: Channels | None = Field(
        default=None,
        description="asks for channels, 1 to 16",
        examples=['channel = "1..4"'],
        json_schema_extra={"default": "all"},
    )
    notes: Notes | None = Field(
        default=None,
        description="asks for notes",
        examples=['notes = "C3..B4"'],
        json_schema_extra={"default": "all"},
    )
    velocity: Velocities | None = Field(
        default=None,
        description="asks for velocities of note-ons, 1 to 127",
        examples=['velocity = "100.."'],
        json_schema_extra={"default": "all"},
    )
    controller: Controllers | None = Field(
        default=None,
        description="asks for controllers, by name or number",
        examples=['controller = ["sustain", 70]'],
        json_schema_extra={"default": "all"},
    )
    value: tuple[int, int] | None = Field(
        default=None,
        description="asks for values of a controller, pressure or bend",
        examples=['value = "64.."'],
        json_schema_extra={"default": "all"},
    )
    program: Programs | None = Field(
        default=None,
        description="asks for programs",
        examples=['program = "1..8"'],
        json_schema_extra={"default": "all"},
    )

    @field_validator("value", mode="before")
    @classmethod
    def _read_value(cls, raw: Any, info: ValidationInfo) -> Any:
        """A range whose open ends depend on the kind."""
        if raw is None or isinstance(raw, tuple):
            return raw
        if info.data.get("kind") == frozenset({"pitch-bend"}):
            return read_range(raw, "a bend", -BEND_CENTRE, BEND_CENTRE - 1, info)
        return read_range(raw, "a value", 0, 127, info)

    @model_validator(mode="after")
    def _fits_together(self) -> Condition:
        chosen = [name for name in ("controller", "program") if getattr(self, name) is not None]
        noted = [name for name in ("notes", "velocity") if getattr(self, name) is not None]
        if len(chosen) > 1 or (chosen and noted):
            first, second = (chosen + noted)[:2]
            raise fault(
                f"`{first}` and `{second}` are about different kinds of message: "
                "write a list of two tables to match either"
            )
        if self.kind is not None:
            self._kind_agrees(self.kind)
        if self.value is not None and (noted or self.program is not None):
            raise fault(
                f"`value` doesn't go with `{noted[0] if noted else 'program'}`: it is for controllers, bends, pressure"
            )
        return self

    def _kind_agrees(self, kinds: frozenset[str]) -> None:
        if self.controller is not None and not kinds <= {"controller", "channel-mode"}:
            raise fault('`controller` goes with `kind = "controller"` or no kind')
        if self.program is not None and kinds != {"program"}:
            raise fault('`program` goes with `kind = "program"` or no kind')
        if self.notes is not None and not kinds & {"note", "note-on", "note-off", "key-pressure"}:
            raise fault("`notes` goes with kinds that have a note: note, note-on, note-off, key-pressure")
        if self.velocity is not None and not kinds & {"note", "note-on"}:
            raise fault("`velocity` goes with `kind` note or note-on")
        if self.value is not None and not kinds <= _VALUED:
            raise fault(f"`value` goes with the kinds {', '.join(sorted(_VALUED))}")
        if self.value is not None and "pitch-bend" in kinds and len(kinds) > 1:
            raise fault("`value` can't be a bend and something else at once: use a list of two tables")
        if self.channel is not None and not kinds <= CHANNEL_KINDS:
            raise fault("`channel` goes with kinds that have one: clock, transport and sysex have none")

    @cached_property
    def kinds(self) -> frozenset[str] | None:
        """The kinds that this condition names: by `kind`, or by `controller`, `program` or `value` (ruling 2)."""
        if self.kind is not None:
            return self.kind
        if self.controller is not None or self.value is not None:
            return frozenset({"controller", "channel-mode"})
        if self.program is not None:
            return frozenset({"program"})
        return None

    @property
    def about_notes(self) -> bool:
        """Whether it asks for a note or a velocity, without naming a kind (ruling 5)."""
        return self.notes is not None or self.velocity is not None


def _each_asks(conditions: tuple[Condition, ...]) -> tuple[Condition, ...]:
    if not conditions or not all(condition.model_fields_set for condition in conditions):
        raise fault(f"this condition is empty: write at least one of {', '.join(Condition.model_fields)}")
    return conditions


Conditions = Annotated[tuple[Condition, ...], OneOrMany, AfterValidator(_each_asks)]
"""Any of these."""
