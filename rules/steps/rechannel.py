"""`rechannel`: moves messages to another channel; offs, pedals, bends and mode messages move along."""

from __future__ import annotations

from typing import Annotated, Any, ClassVar

from pydantic import Field, model_validator

from rules.fields.numbers import Channel
from rules.fields.table_model import EachOnce, fault
from rules.midi.notation import Naming
from rules.program.forms import Form
from rules.steps.base import Step, StepContext
from rules.steps.wording import pairs


class RechannelStep(Step):
    """`rechannel = 4` moves every channel to 4; `rechannel = { 1 = 4, 2 = 5 }` moves some, the others pass.

    `to` is the one channel (1-16) or None; `moves` maps old to new (1-16).
    """

    key: ClassVar[str] = "rechannel"
    only_rechannels: ClassVar[bool] = True
    to: Channel | None = Field(
        default=None,
        description="moves every channel to this one, 1 to 16",
        examples=["{ rechannel = { to = 4 } }"],
    )
    moves: Annotated[dict[Channel, Channel], EachOnce] = Field(
        default_factory=dict,
        description="moves some channels, old = new; others pass",
        examples=["{ rechannel = { moves = { 1 = 4, 2 = 5 } } }"],
    )

    @classmethod
    def from_short(cls, raw: Any) -> Any:
        """A number, or a table of numbers."""
        if isinstance(raw, dict):
            return raw if raw.keys() & {"to", "moves"} else {"moves": raw}
        return {"to": raw}

    @model_validator(mode="after")
    def _says_something(self) -> RechannelStep:
        if (self.to is None) == (not self.moves):
            raise fault("write a channel, as in `rechannel = 4`, or a table old = new, as in `rechannel = { 1 = 4 }`")
        return self

    def channel_for(self, channel: int) -> int:
        """Return where `channel` (1-16) goes."""
        return self.to if self.to is not None else self.moves.get(channel, channel)

    def words(self, naming: Naming) -> str:
        """The step in words."""
        if self.to is not None:
            return f"rechannel to {self.to}"
        return f"rechannel {pairs(self.moves, str)}"

    def fold(self, form: Form, context: StepContext) -> list[Form]:
        """The form with the new channel in its status."""
        if form.channel is None:
            return [form]
        return [form._replace(status=form.status & 0xF0 | (self.channel_for(form.channel) - 1))]
