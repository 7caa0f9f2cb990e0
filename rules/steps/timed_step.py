"""What steps with a time have in common: milliseconds, quarter notes and a note value, which add up."""

from __future__ import annotations

from fractions import Fraction
from typing import TYPE_CHECKING, Any, ClassVar

from pydantic import Field, model_validator

from rules.fields.numbers import Beats, Milliseconds, NoteValue
from rules.fields.table_model import fault
from rules.steps.base import Step
from rules.timing.delays import Delay


def note_value_field(key: str, what: str) -> Any:
    """The setting `note_value` of a step, by its key and what it does with its time."""
    return Field(
        default=Fraction(0),
        description=f'{what} a note value: `"1/4"`, dotted `"1/8."`, of a triplet `"1/4t"`',
        examples=[f'{{ {key} = {{ note_value = "1/8." }} }}'],
        json_schema_extra={"default": "none"},
    )


class TimedStep(Step):
    """A step that needs a time above 0; a number alone is milliseconds, a text alone a note value."""

    what: ClassVar[str]
    """The step in an error, with its article."""

    if TYPE_CHECKING:  # each step has these settings, with words and examples of its own
        ms: Milliseconds
        beats: Beats
        note_value: NoteValue

    @classmethod
    def from_short(cls, raw: Any) -> Any:
        """Milliseconds, or a note value in quotes."""
        if isinstance(raw, dict):
            return raw
        return {"note_value" if isinstance(raw, str) else "ms": raw}

    @model_validator(mode="after")
    def _says_how_long(self) -> TimedStep:
        if self.span == Delay():
            raise fault(f"{self.what} needs a time above 0: write `ms`, `beats` or `note_value`")
        return self

    @property
    def span(self) -> Delay:
        """The whole time."""
        return Delay(self.ms, self.beats + self.note_value)
