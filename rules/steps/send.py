"""`send`: messages in place of what came, or after it."""

from __future__ import annotations

from typing import Any, ClassVar

from pydantic import Field, model_validator

from rules.fields.table_model import fault
from rules.fields.written_messages import DelayedMessages
from rules.midi.notation import Naming
from rules.program.forms import Form
from rules.program.loss_reasons import SEND
from rules.steps.base import Step, StepContext
from rules.steps.send_node import SendNode


class SendStep(Step):
    """`send = "start"`, `send = ["program 4 17", "controller 4 volume 90"]` or `{ messages = [...], pass_on = true }`.

    It fires on a note-on, a program change, a controller that crosses to 64 and above, a note-off if `match` names
    that kind, and on clock or transport if `match` names it (rulings 3, 24, 26). What came is not passed on unless
    `pass_on`, and then goes first. A message without a channel goes to the channel of what came; where that has none,
    to channel 1.
    """

    key: ClassVar[str] = "send"
    loss: ClassVar[str] = SEND
    writes_messages: ClassVar[bool] = True
    messages: DelayedMessages = Field(
        description="sends these messages, in this order; times make pauses",
        examples=['{ send = { messages = ["program 17", "at 200 ms controller volume 90"] } }'],
    )
    pass_on: bool = Field(
        default=False,
        description="lets the message that came go on first",
        examples=['{ send = { messages = "start", pass_on = true } }'],
    )

    @classmethod
    def from_short(cls, raw: Any) -> Any:
        """One message, or a list of them."""
        return raw if isinstance(raw, dict) else {"messages": raw}

    @model_validator(mode="after")
    def _says_something(self) -> SendStep:
        if not self.messages:
            raise fault("name at least one message to send")
        return self

    @property
    def remembers(self) -> bool:
        """It has a node."""
        return True

    def words(self, naming: Naming) -> str:
        """The step in words."""
        names = ", ".join(each.words(naming) for each in self.messages)
        return f"send {names}"

    def fold(self, form: Form, context: StepContext) -> list[Form]:
        """Everything goes to the node that judges whether it fires."""
        node = context.node(lambda: SendNode(self.messages, self.pass_on, context.fires_on))
        return [form._replace(node=node)]
