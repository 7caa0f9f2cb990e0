"""`latch`: notes sound on when their keys are let go, until a key is pressed again or a switch lets go."""

from __future__ import annotations

from typing import Any, ClassVar, Literal

from pydantic import Field

from rules.fields.table_model import fault, shown
from rules.midi.messages import NOTE_OFF, NOTE_ON
from rules.midi.notation import Naming
from rules.program.forms import Form
from rules.steps.base import Step, StepContext
from rules.steps.latch_node import LatchNode


class LatchStep(Step):
    """`latch = true` or `latch = { until = "again" }`: notes only, all else passes (ruling 22).

    `until`: `next` lets go of notes when the next key is pressed while none is down, or their own key again; `again`
    only when their own key is pressed again. A `when` that ceases to hold lets go of all.
    """

    key: ClassVar[str] = "latch"
    until: Literal["next", "again"] = Field(
        default="next",
        description='says what ends a note: `"next"`, the next key or the same one; `"again"`, only the same one',
        examples=['{ latch = { until = "again" } }'],
    )

    @classmethod
    def from_short(cls, raw: Any) -> Any:
        """True; to switch the step off, leave it out."""
        if isinstance(raw, dict):
            return raw
        if raw is True:
            return {}
        raise fault(f"{shown(raw)} is not a latch: write `latch = true`, or remove the step")

    @property
    def remembers(self) -> bool:
        """It has a node."""
        return True

    def words(self, naming: Naming) -> str:
        """The step in words."""
        return "latch until " + ("the next key" if self.until == "next" else "the same key again")

    def fold(self, form: Form, context: StepContext) -> list[Form]:
        """Send notes to the node that keeps them sounding; all else passes."""
        if form.kind not in (NOTE_ON, NOTE_OFF):
            return [form]
        return [form._replace(node=context.node(lambda: LatchNode(self.until == "next", context.open)))]
