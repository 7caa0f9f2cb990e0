"""`[ports]` and `[devices]`: the ports of the computer, and the instruments behind them."""

from __future__ import annotations

from typing import Any, Literal

from pydantic import Field, model_validator

from rules.fields.names import Pattern, PatternOrTrue, Reference
from rules.fields.numbers import Channel, Channels, NoteRange
from rules.fields.table_model import TableModel, fault, shown
from rules.fields.written_messages import DelayedMessages
from rules.rulefile.accepted import ACCEPT, Accepted
from rules.rulefile.stages import Steps


class Port(TableModel):
    """A computer's port under a name of ours. Patterns are globs of `*` and `?`, case ignored (ruling 7).

    `both` is both directions, `input` and `output` one; a plain string means `both`. `true` takes our name as the
    pattern, and so does a port that has none of the three, both ways. `connection = "din"` is paced as a 5-pin cable;
    `clock` names the port whose clock and transport go out here, "own" for ours, or "none"; `pass_reset` passes system
    reset on; `channels` are those that its player can send on (1-16), which changes nothing that is played; `steps` act
    before every rule.
    """

    both: Pattern | None = Field(
        default=None,
        description="names the computer's port for both directions",
        examples=['seq = { both = "Cue Sequencer*" }'],
        json_schema_extra={"default": "your name for it"},
    )
    input: PatternOrTrue | None = Field(
        default=None,
        description="names the computer's input; `true` means it has the same name as here",
        examples=['keyboard = { input = "Pit Keyboard*" }'],
    )
    output: PatternOrTrue | None = Field(
        default=None,
        description="names the computer's output; `true` means it has the same name as here",
        examples=['rack1 = { output = "Pit Interface*1" }'],
    )
    virtual: bool = Field(
        default=False,
        description="makes a port that other programs connect to, instead of opening one",
        examples=["screen = { output = true, virtual = true }"],
    )
    connection: Literal["din", "usb"] = Field(
        default="usb",
        description='says what carries the messages: `"usb"`, or `"din"` for a slow 5-pin cable',
        examples=['rack1 = { output = "Rack*", connection = "din" }'],
    )
    clock: Reference | None = Field(
        default=None,
        description='names the port whose clock and transport go out here; `"own"` means your clock, `"none"` no clock',
        examples=['rack1 = { output = "Rack*", clock = "own" }'],
        json_schema_extra={"default": "the source of the only rule without `match` to it"},
    )
    pass_reset: bool = Field(
        default=False,
        description="passes system reset on",
        examples=['rack1 = { output = "Rack*", pass_reset = true }'],
    )
    channels: Channels | None = Field(
        default=None,
        description="says which channels can be sent from here, for `plan` to give to the devices",
        examples=['seq = { both = "Cue Sequencer*", channels = "1..12" }'],
        json_schema_extra={"default": "all 16"},
    )
    steps: Steps = Field(
        default=(),
        description="changes everything that arrives here, before any rule",
        examples=['pads = { input = "Pad*", steps = [{ velocity = { louder = 0.5 } }] }'],
    )
    accept: Accepted = Field(
        default_factory=dict,
        description=ACCEPT,
        examples=['rack1 = { output = "Rack*", accept = { "DIN load" = "never all at once" } }'],
    )

    @model_validator(mode="before")
    @classmethod
    def _from_short(cls, raw: Any) -> Any:
        if isinstance(raw, str):
            return {"both": raw}
        if not isinstance(raw, dict | Port):
            raise fault(
                f"{shown(raw)} is not a port: write the computer's name for it in quotes, or {{ setting = value }}"
            )
        return raw

    @model_validator(mode="after")
    def _directions(self) -> Port:
        if self.both is not None and (self.input is not None or self.output is not None):
            raise fault("`both` means input and output: write it alone, or write those two")
        if not self.can_send and (self.clock is not None or self.pass_reset):
            raise fault(
                "`clock` and `pass_reset` need an output, and this port has none: write `output`, or remove them"
            )
        if not self.can_receive and self.channels is not None:
            raise fault("`channels` says what can be sent from here, and this port is an output: remove it")
        return self

    @property
    def can_receive(self) -> bool:
        """Whether messages can come from here."""
        return self.output is None or self.input is not None

    @property
    def can_send(self) -> bool:
        """Whether messages can go here."""
        return self.input is None or self.output is not None


class Device(TableModel):
    """An instrument at the end of a port, as its manual says; its channel (1-16) is set last (ruling 8).

    `channels` are those that it could be set to, for `plan` to choose from; a live session doesn't ask for them.
    `returns` names the input that what the device sends on comes back to.
    """

    port: Reference = Field(
        description="names the port that the device is connected to",
        examples=['organ = { port = "rack" }'],
    )
    channel: Channel | None = Field(
        default=None,
        description="sets the channel of everything that reaches the device, 1 to 16",
        examples=['organ = { port = "rack", channel = 4 }'],
        json_schema_extra={"default": "the channel of the message"},
    )
    channels: Channels | None = Field(
        default=None,
        description="says which channels the device can be set to, for `plan` to choose one; not with `channel`",
        examples=['strings = { port = "rack", channels = "1..16" }'],
    )
    notes: NoteRange | None = Field(
        default=None,
        description="says which notes the device can play",
        examples=['organ = { port = "rack", notes = "C2..C7" }'],
        json_schema_extra={"default": "all"},
    )
    outside: Literal["pass", "drop", "octave"] = Field(
        default="pass",
        description='says what happens to other notes: `"pass"`, `"drop"`, or `"octave"` to move them into the range',
        examples=['organ = { port = "rack", notes = "C2..C7", outside = "octave" }'],
    )
    setup: DelayedMessages = Field(
        default=(),
        description="sends these messages when a live session begins and when the port returns; times make pauses",
        examples=['organ = { port = "rack", channel = 4, setup = ["program 17", "at 200 ms controller volume 100"] }'],
    )
    steps: Steps = Field(
        default=(),
        description="changes everything that goes to the device, after the steps of the rules",
        examples=['organ = { port = "rack", steps = [{ transpose = 12 }] }'],
    )

    returns: Reference | None = Field(
        default=None,
        description="names the input port that the device's thru or output is wired back to",
        examples=['organ = { port = "rack", returns = "keyboard" }'],
    )
    accept: Accepted = Field(
        default_factory=dict,
        description=ACCEPT,
        examples=['organ = { port = "rack", accept = { unreached = "for the second set" } }'],
    )

    def hears(self, channel: int) -> bool:
        """Return whether the device listens on a channel, 0-15."""
        return self.channel is None or self.channel == channel + 1

    @model_validator(mode="after")
    def _one_way_to_channels(self) -> Device:
        if self.channel is not None and self.channels is not None:
            raise fault("`channel` is fixed, `channels` are for `plan` to choose from: write only one of them")
        return self

    @model_validator(mode="after")
    def _range_given(self) -> Device:
        if self.outside != "pass" and self.notes is None:
            raise fault("`outside` needs the range of the device: write `notes` too")
        if self.outside == "octave" and self.notes is not None and self.notes[1] - self.notes[0] < 11:
            raise fault('`outside = "octave"` needs a range of at least an octave: widen `notes`')
        return self
