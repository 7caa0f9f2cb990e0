"""`delay`: everything in the rule goes out later, in the order it came."""

from __future__ import annotations

from fractions import Fraction
from typing import ClassVar

from pydantic import Field

from rules.fields.numbers import Beats, Milliseconds, NoteValue
from rules.midi.notation import Naming
from rules.program.forms import Form
from rules.steps.base import StepContext
from rules.steps.delay_node import DelayNode
from rules.steps.timed_step import TimedStep, note_value_field
from rules.timing.delays import in_words


class DelayStep(TimedStep):
    """`delay = 250` or `delay = { ms = 250 }`, `delay = { beats = 0.5 }`; a beat is a quarter note (ruling 22)."""

    key: ClassVar[str] = "delay"
    what: ClassVar[str] = "a delay"
    ms: Milliseconds = Field(
        default=Fraction(0),
        description="waits for this many milliseconds, up to 600,000",
        examples=["{ delay = { ms = 40 } }"],
        json_schema_extra={"default": "`0`"},
    )
    beats: Beats = Field(
        default=Fraction(0),
        description="waits for this many quarter notes, up to 1024; a fraction is text",
        examples=['{ delay = { beats = "1/3" } }'],
        json_schema_extra={"default": "`0`"},
    )
    note_value: NoteValue = note_value_field("delay", "waits for")

    @property
    def remembers(self) -> bool:
        """It has a node."""
        return True

    def words(self, naming: Naming) -> str:
        """The step in words."""
        return "delay of " + in_words(self.span)

    def fold(self, form: Form, context: StepContext) -> list[Form]:
        """Everything goes to the memory that keeps the order."""
        return [form._replace(node=self._node(context))]

    def skipped(self, form: Form, context: StepContext) -> list[Form]:
        """Nothing overtakes: while `when` doesn't hold, messages still wait for those that were delayed before."""
        return [form._replace(node=self._node(context).without_delay)]

    def _node(self, context: StepContext) -> DelayNode:
        return context.node(lambda: DelayNode(self.span))
