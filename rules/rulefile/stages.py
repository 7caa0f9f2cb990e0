"""Entries of `steps`: one step each, and the switches that it waits for."""

from __future__ import annotations

from functools import partial
from typing import TYPE_CHECKING, Annotated

from pydantic import create_model, model_validator

from rules.fields.table_model import BuiltWhenNeeded, OneOrMany, TableModel, fault
from rules.fields.when import WhenField
from rules.steps.base import Step
from rules.steps.registry import STEP_KEYS, step_named


class Stage(TableModel):
    """One entry of `steps`: exactly one step, and the switches it waits for."""

    when: WhenField | None = None

    @property
    def step(self) -> Step:
        """The one step given."""
        return next(step for step in self._given())

    def _given(self) -> list[Step]:
        return [step for key in STEP_KEYS if (step := getattr(self, key)) is not None]

    @model_validator(mode="after")
    def _one_step(self) -> Stage:
        given = [step.key for step in self._given()]
        if len(given) != 1:
            found = f"this has {' and '.join(f'`{key}`' for key in given)}" if given else "this has none"
            raise fault(f"write one step in each entry ({found}): the steps are {', '.join(STEP_KEYS)}")
        return self


if TYPE_CHECKING:
    StageTable = Stage
else:
    STEP_FIELDS = {key: (Annotated[Step, BuiltWhenNeeded(partial(step_named, key))] | None, None) for key in STEP_KEYS}
    StageTable = create_model("StageTable", __base__=Stage, **STEP_FIELDS)

Steps = Annotated[tuple[StageTable, ...], OneOrMany]
