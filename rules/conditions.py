"""Conditions: what `match`, zones and `filter` ask of a message.

A condition says which messages it names. Whether a message that lacks the asked quantity fits is for its user to
say (ruling 1): a split takes pedals along, a `drop` doesn't.
"""

from __future__ import annotations

from typing import Annotated, Any, Final

from pydantic import BeforeValidator, model_validator

from rules.language.values import (
    Channels,
    Controllers,
    Notes,
    OneOrMany,
    Part,
    Programs,
    ValueRange,
    Velocities,
    fault,
)
from rules.messages import STATUS_OF_KIND
from rules.notation import nearest

NOTE_KINDS: Final = frozenset({"note-on", "note-off"})
CHANNEL_KINDS: Final = frozenset(
    {"note", "note-on", "note-off", "poly-pressure", "controller", "mode", "program", "pressure", "pitch-bend"}
)
"""Kinds that have a channel. `note` is both ons and offs, `mode` the controllers 120-127."""

SIGNAL_KINDS: Final = frozenset(
    {"mtc", "song-position", "song-select", "tune-request", "clock", "start", "continue", "stop"}
)
"""Clock and transport: never routed by rules, but they may trigger `send` and switches (ruling 26)."""

KINDS: Final = CHANNEL_KINDS | SIGNAL_KINDS | {"sysex"}
_VALUED: Final = frozenset({"controller", "mode", "poly-pressure", "pressure", "pitch-bend"})


def _kinds(raw: Any) -> frozenset[str]:
    if isinstance(raw, frozenset):
        return raw
    found = set()
    for kind in raw if isinstance(raw, list) else [raw]:
        if kind not in KINDS:
            hint = nearest(str(kind), KINDS | STATUS_OF_KIND.keys())
            raise fault(f"{kind!r} is not a kind of message: allowed are {', '.join(sorted(KINDS))}{hint}")
        found.add(kind)
    if not found:
        raise fault("an empty list of kinds: name at least one")
    return frozenset(found)


Kinds = Annotated[frozenset[str], BeforeValidator(_kinds)]


class Condition(Part):
    """One table of conditions; all that are given must hold.

    `channel` 1-16, `notes` keys 0-127, `velocity` 1-127, `controller` and `program` 0-127 as on the wire; `value`
    is 0-127, or -8192..8191 with `kind = "pitch-bend"`.
    """

    kind: Kinds | None = None
    channel: Channels | None = None
    notes: Notes | None = None
    velocity: Velocities | None = None
    controller: Controllers | None = None
    value: ValueRange | None = None
    program: Programs | None = None

    @model_validator(mode="after")
    def _fits_together(self) -> Condition:
        chosen = [name for name in ("controller", "program") if getattr(self, name) is not None]
        noted = [name for name in ("notes", "velocity") if getattr(self, name) is not None]
        if len(chosen) > 1 or (chosen and noted):
            first, second = (chosen + noted)[:2]
            raise fault(
                f"`{first}` and `{second}` name different kinds of message: use a list of two tables for any of"
            )
        if self.kind is not None:
            self._kind_agrees(self.kind)
        if self.value is not None and (noted or self.program is not None):
            raise fault(
                f"`value` doesn't go with `{noted[0] if noted else 'program'}`: it is for controllers, bends, pressure"
            )
        if (
            self.value is not None
            and not (self.value_kinds <= {"pitch-bend"})
            and not 0 <= self.value[0] <= self.value[1] <= 127
        ):
            raise fault('`value` is 0-127; only with `kind = "pitch-bend"` it is -8192..8191')
        return self

    def _kind_agrees(self, kinds: frozenset[str]) -> None:
        if self.controller is not None and not kinds <= {"controller", "mode"}:
            raise fault('`controller` goes with `kind = "controller"` or no kind')
        if self.program is not None and kinds != {"program"}:
            raise fault('`program` goes with `kind = "program"` or no kind')
        if self.notes is not None and not kinds & {"note", "note-on", "note-off", "poly-pressure"}:
            raise fault("`notes` goes with kinds that have a note: note, note-on, note-off, poly-pressure")
        if self.velocity is not None and not kinds & {"note", "note-on"}:
            raise fault("`velocity` goes with `kind` note or note-on")
        if self.value is not None and not kinds <= _VALUED:
            raise fault(f"`value` goes with the kinds {', '.join(sorted(_VALUED))}")
        if self.value is not None and "pitch-bend" in kinds and len(kinds) > 1:
            raise fault("`value` can't be a bend and something else at once: use a list of two tables")
        if self.channel is not None and not kinds <= CHANNEL_KINDS:
            raise fault("`channel` goes with kinds that have one; clock, transport and sysex have none")

    @property
    def value_kinds(self) -> frozenset[str]:
        """The kinds whose value is meant by `value`: controllers unless `kind` says otherwise."""
        return self.kind if self.kind is not None else frozenset({"controller", "mode"})

    @property
    def kinds(self) -> frozenset[str] | None:
        """The kinds that this condition names: by `kind`, or by `controller`, `program` or `value` (ruling 2)."""
        if self.kind is not None:
            return self.kind
        if self.controller is not None or self.value is not None:
            return frozenset({"controller", "mode"})
        if self.program is not None:
            return frozenset({"program"})
        return None

    @property
    def about_notes(self) -> bool:
        """Whether it asks for a note or a velocity, without naming a kind (ruling 5)."""
        return self.notes is not None or self.velocity is not None


Conditions = Annotated[tuple[Condition, ...], OneOrMany]
"""Any of these."""
