"""`length`: every note lasts as long, however long its key is held."""

from __future__ import annotations

from fractions import Fraction
from typing import Any, ClassVar

from pydantic import Field, model_validator

from rules.fields.numbers import Beats, Milliseconds
from rules.fields.table_model import fault
from rules.midi.messages import NOTE_OFF, NOTE_ON
from rules.midi.notation import Naming
from rules.program.forms import Form
from rules.program.loss_reasons import LENGTH
from rules.steps.base import Step, StepContext
from rules.steps.length_node import LengthNode
from rules.timing.delays import Delay, in_words


class LengthStep(Step):
    """`length = 120` (milliseconds) or `length = { beats = 0.5 }`: notes only, all else passes (ruling 22)."""

    key: ClassVar[str] = "length"
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

    @classmethod
    def from_short(cls, raw: Any) -> Any:
        """Milliseconds."""
        return raw if isinstance(raw, dict) else {"ms": raw}

    @model_validator(mode="after")
    def _says_something(self) -> LengthStep:
        if not self.ms and not self.beats:
            raise fault("`length` needs a time above 0: write `ms` or `beats`")
        return self

    @property
    def remembers(self) -> bool:
        """It has a node."""
        return True

    def words(self, naming: Naming) -> str:
        """The step in words."""
        return "length of " + in_words(self.ms, self.beats)

    def fold(self, form: Form, context: StepContext) -> list[Form]:
        """Send notes to the node that ends them; all else passes."""
        if form.kind not in (NOTE_ON, NOTE_OFF):
            return [form]
        return [form._replace(node=context.node(lambda: LengthNode(Delay(self.ms, self.beats))))]
