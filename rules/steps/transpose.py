"""`transpose`: moves keys by semitones or by a number switch; a note-off follows its note-on."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from functools import lru_cache
from typing import Annotated, Any, ClassVar, Final, Literal

from pydantic import BeforeValidator, Field

from rules.fields.matching import NOTE_STATUSES
from rules.fields.numbers import MOST_SEMITONES, ChannelsOrNone
from rules.fields.table_model import fault, shown
from rules.midi.controllers import PORTAMENTO_CONTROL
from rules.midi.messages import CONTROLLER
from rules.midi.notation import Naming
from rules.program.byte_tables import ALL, NO_BYTE, gate_of, table_of
from rules.program.forms import Form
from rules.program.loss_reasons import OUT_OF_RANGE
from rules.steps.base import Step, StepContext, StepDoubt
from rules.steps.wording import channels

DRUMS: Final = 10
"""The channel where drums usually are."""


def key_by_octaves(key: int) -> int:
    """The nearest octave of a key that lies inside 0-127 (ruling 19)."""
    if key < 0:
        return key % 12
    if key > 127:
        return key - 12 * -((127 - key) // 12)
    return key


def moved_key(key: int, by: int, by_octaves: bool) -> int | None:
    """Return where `key` goes, or None when it leaves 0-127 and isn't brought back by octaves."""
    moved = key + by
    if 0 <= moved <= 127:
        return moved
    return key_by_octaves(moved) if by_octaves else None


@lru_cache(maxsize=512)
def _key_table(by: int, by_octaves: bool) -> tuple[bytes, int]:
    """The table that moves keys, and the gate of those that stay inside."""
    moved = [moved_key(key, by, by_octaves) for key in range(128)]
    table = table_of(lambda key: NO_BYTE if (new := moved[key]) is None else new)
    return table, gate_of(key for key in range(128) if moved[key] is not None)


def _read_by(raw: Any) -> Any:
    is_number = isinstance(raw, int) and not isinstance(raw, bool)
    if (is_number and abs(raw) <= MOST_SEMITONES) or (isinstance(raw, str) and raw.strip("+-0123456789 ")):
        return raw
    raise fault(
        f"{shown(raw)} is not a number of semitones: write a whole number from -{MOST_SEMITONES} to {MOST_SEMITONES}, "
        "or the name of a number switch in quotes"
    )


class TransposeStep(Step):
    """`transpose = 12`, `transpose = "key"` (a number switch), `{ by = 1, outside = "octave", except_channels = 10 }`.

    Moves the key of notes and key pressure and the value of controller 84, which is a key (ruling 19).
    `outside`: what happens to keys that leave 0-127: `drop`, or `octave`, to the nearest octave inside.
    """

    key: ClassVar[str] = "transpose"
    loss: ClassVar[str] = OUT_OF_RANGE
    by: Annotated[int | str, BeforeValidator(_read_by)] = Field(
        description="moves notes by semitones, -127 to 127, or by a number switch",
        examples=["{ transpose = { by = 7 } }"],
    )
    outside: Literal["drop", "octave"] = Field(
        default="drop",
        description='says what happens to notes outside keys 0 to 127: `"drop"`, or `"octave"` to move them back',
        examples=['{ transpose = { by = 24, outside = "octave" } }'],
    )
    except_channels: ChannelsOrNone = Field(
        default=frozenset(),
        description="leaves these channels as they are",
        examples=["{ transpose = { by = 7, except_channels = 10 } }"],
        json_schema_extra={"default": "none"},
    )

    @classmethod
    def from_short(cls, raw: Any) -> Any:
        """A number of semitones, or the name of a switch."""
        return raw if isinstance(raw, dict) else {"by": raw}

    @property
    def number_switches(self) -> Mapping[str, str]:
        """The switch that `by` names, if it names one."""
        return {"by": self.by} if isinstance(self.by, str) else {}

    def transposes(self, channel: int) -> bool:
        """Return whether the step moves all keys of a channel (1-16)."""
        return self.by != 0 and channel not in self.except_channels

    def doubts(self, channels: frozenset[int]) -> Iterator[StepDoubt]:
        """Channel 10 moved along with the rest, where `except_channels` doesn't say that it is meant (ruling 19)."""
        if self.transposes(DRUMS) and DRUMS in channels and "except_channels" not in self.model_fields_set:
            yield StepDoubt(
                "drums moved",
                "Channel 10 (usually drums) is transposed too.",
                "Write `except_channels = 10`, or `except_channels = []` if it is meant.",
            )

    def words(self, naming: Naming) -> str:
        """The step in words."""
        by = f"{self.by:+d}" if isinstance(self.by, int) else f'the switch "{self.by}"'
        spared = f", but for {channels(self.except_channels)}" if self.except_channels else ""
        return f"transpose by {by}{spared}"

    def fold(self, form: Form, context: StepContext) -> list[Form]:
        """The form with its key moved; one form for each number that a number switch can be at."""
        if form.channel is None or form.channel in self.except_channels:
            return [form]
        if form.kind not in NOTE_STATUSES and form.kind != CONTROLLER:
            return [form]
        if isinstance(self.by, int):
            return self._moved_form(form, self.by)
        return [
            moved
            for by, guard in context.numbers(self.by)
            for moved in self._moved_form(form.guarded(guard), by)
            if moved.guard
        ]

    def _moved_form(self, form: Form, by: int) -> list[Form]:
        table, inside = _key_table(by, self.outside == "octave")
        if form.kind in NOTE_STATUSES:
            form = form.having_one(inside)
            return [form._replace(one=form.one.translate(table))] if form.exists else []
        portamento = form.having_one(1 << PORTAMENTO_CONTROL)
        others = form.having_one(ALL & ~(1 << PORTAMENTO_CONTROL))
        portamento = portamento.having_two(inside)
        moved = portamento._replace(two=portamento.two.translate(table))
        return [piece for piece in (others, moved) if piece.exists]
