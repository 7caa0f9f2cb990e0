"""`length`: every note lasts as long, however long its key is held."""

from __future__ import annotations

from fractions import Fraction
from typing import ClassVar

from pydantic import Field

from rules.fields.numbers import Beats, Milliseconds, NoteValue
from rules.midi.messages import NOTE_OFF, NOTE_ON
from rules.midi.notation import Naming
from rules.program.forms import Form
from rules.program.loss_reasons import LENGTH
from rules.steps.base import StepContext
from rules.steps.length_node import LengthNode
from rules.steps.timed_step import TimedStep, note_value_field
from rules.timing.delays import in_words


class LengthStep(TimedStep):
    """`length = 120` (milliseconds) or `length = { beats = 0.5 }`: notes only, all else passes (ruling 22)."""

    key: ClassVar[str] = "length"
    what: ClassVar[str] = "`length`"
    loss: ClassVar[str] = LENGTH
    ms: Milliseconds = Field(
        default=Fraction(0),
        description="ends each note after this many milliseconds, up to 600,000",
        examples=["{ length = { ms = 120 } }"],
        json_schema_extra={"default": "`0`"},
    )
    beats: Beats = Field(
        default=Fraction(0),
        description="ends each note after this many quarter notes, up to 1024; a fraction is text",
        examples=['{ length = { beats = "1/2" } }'],
        json_schema_extra={"default": "`0`"},
    )
    note_value: NoteValue = note_value_field("length", "ends each note after")

    @property
    def remembers(self) -> bool:
        """It has a node."""
        return True

    def words(self, naming: Naming) -> str:
        """The step in words."""
        return "length of " + in_words(self.span)

    def fold(self, form: Form, context: StepContext) -> list[Form]:
        """Send notes to the node that ends them; all else passes."""
        if form.kind not in (NOTE_ON, NOTE_OFF):
            return [form]
        return [form._replace(node=context.node(lambda: LengthNode(self.span)))]
