"""`filter`: keeps or drops messages by kind, channel, notes, velocity, controller, value or program."""

from __future__ import annotations

from collections.abc import Mapping
from typing import ClassVar

from pydantic import Field, model_validator

from rules.fields.conditions import Condition, Conditions
from rules.fields.matching import split_any
from rules.fields.table_model import fault
from rules.midi.notation import Naming
from rules.program.forms import Form
from rules.program.loss_reasons import FILTER
from rules.steps.base import Step, StepContext
from rules.steps.wording import any_of


class FilterStep(Step):
    """`filter = { keep = {...} }` or `{ drop = {...} }`, judged at its place in the chain (ruling 6).

    A list means any of. `keep` restricts only messages that have what is asked for by notes or velocity, `drop`
    takes only messages that have it (ruling 1). With both, `keep` is applied first.
    """

    key: ClassVar[str] = "filter"
    loss: ClassVar[str] = FILTER
    keep: Conditions = Field(
        default=(),
        description="lets only these messages go on",
        examples=['{ filter = { keep = { kind = "note", velocity = "40.." } } }'],
        json_schema_extra={"default": "everything"},
    )
    drop: Conditions = Field(
        default=(),
        description="drops these messages",
        examples=['{ filter = { drop = { controller = "volume" } } }'],
        json_schema_extra={"default": "nothing"},
    )

    @model_validator(mode="after")
    def _says_something(self) -> FilterStep:
        if not self.keep and not self.drop:
            raise fault("write what to `keep` or what to `drop`, as in `filter = { drop = { controller = 7 } }`")
        return self

    @property
    def conditions(self) -> Mapping[str, tuple[Condition, ...]]:
        """What is kept, and what is dropped."""
        return {"keep": self.keep, "drop": self.drop}

    def words(self, naming: Naming) -> str:
        """The step in words."""
        parts = [f"keep {any_of(self.keep, naming)}"] if self.keep else []
        parts += [f"drop {any_of(self.drop, naming)}"] if self.drop else []
        return f"filter {', '.join(parts)}"

    def fold(self, form: Form, context: StepContext) -> list[Form]:
        """The part that is kept and not dropped."""
        kept, _ = split_any(form, self.keep)
        if not self.drop:
            return kept
        return [left for piece in kept for left in split_any(piece, self.drop, strictly=True)[1]]
