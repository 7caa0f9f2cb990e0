"""Entries of `steps`: one step each, and the switches that it waits for."""

from __future__ import annotations

from typing import TYPE_CHECKING, Annotated

from pydantic import create_model, model_validator

from rules.fields.table_model import BuiltWhenNeeded, OneOrMany, TableModel, fault
from rules.fields.when import WhenField
from rules.steps.base import Step
from rules.steps.registry import STEPS


class Stage(TableModel):
    """One entry of `steps`: exactly one step, and the switches it waits for."""

    when: WhenField | None = None

    @property
    def step(self) -> Step:
        """The one step given."""
        return next(step for step in self._given())

    def _given(self) -> list[Step]:
        return [step for kind in STEPS if (step := getattr(self, kind.key)) is not None]

    @model_validator(mode="after")
    def _one_step(self) -> Stage:
        given = [step.key for step in self._given()]
        if len(given) != 1:
            found = f"this has {' and '.join(f'`{key}`' for key in given)}" if given else "this has none"
            raise fault(
                f"write one step in each entry ({found}): the steps are {', '.join(kind.key for kind in STEPS)}"
            )
        return self


if TYPE_CHECKING:
    StageTable = Stage
else:
    STEP_FIELDS = {kind.key: (Annotated[kind, BuiltWhenNeeded()] | None, None) for kind in STEPS}
    StageTable = create_model("StageTable", __base__=Stage, **STEP_FIELDS)

Steps = Annotated[tuple[StageTable, ...], OneOrMany]
