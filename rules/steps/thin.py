"""`thin`: fewer values of controllers, bends and pressure; the last one always arrives."""

from __future__ import annotations

from typing import Any, ClassVar

from pydantic import Field, model_validator

from rules.fields.numbers import Milliseconds
from rules.fields.table_model import fault
from rules.midi.messages import CHANNEL_PRESSURE, CONTROLLER, KEY_PRESSURE, PITCH_BEND
from rules.midi.notation import Naming
from rules.program.forms import Form
from rules.program.loss_reasons import THIN
from rules.steps.base import Step, StepContext
from rules.steps.thin_node import THINNED, ThinNode
from rules.timing.delays import Delay


class ThinStep(Step):
    """`thin = 20`: at most one value each 20 ms for each controller, bend or pressure and channel (ruling 23)."""

    key: ClassVar[str] = "thin"
    loss: ClassVar[str] = THIN
    ms: Milliseconds = Field(
        description="lets one value pass in this many milliseconds",
        examples=["{ thin = { ms = 20 } }"],
    )

    @classmethod
    def from_short(cls, raw: Any) -> Any:
        """Milliseconds."""
        return raw if isinstance(raw, dict) else {"ms": raw}

    @model_validator(mode="after")
    def _says_something(self) -> ThinStep:
        if not self.ms:
            raise fault("`thin` needs a time above 0: write milliseconds")
        return self

    @property
    def remembers(self) -> bool:
        """It has a node."""
        return True

    def words(self, naming: Naming) -> str:
        """The step in words."""
        return f"thin to one value each {float(self.ms):g} ms"

    def fold(self, form: Form, context: StepContext) -> list[Form]:
        """Send what may be thinned to the node that remembers when the last value went; all else passes."""
        if form.kind not in (CONTROLLER, PITCH_BEND, CHANNEL_PRESSURE, KEY_PRESSURE):
            return [form]
        thinned = form if form.kind != CONTROLLER else form.having_one(THINNED)
        pieces = [thinned._replace(node=context.node(lambda: ThinNode(Delay(self.ms))))] if thinned.exists else []
        return pieces + form.without(thinned)
