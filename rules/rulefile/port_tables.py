"""`[ports]` and `[devices]`: the ports of the computer, and the instruments behind them."""

from __future__ import annotations

from typing import Any, Literal

from pydantic import model_validator

from rules.fields.names import Pattern, PatternOrTrue, Reference
from rules.fields.numbers import Channel, NoteRange
from rules.fields.part import Part, fault, shown
from rules.fields.written_messages import Messages
from rules.rulefile.stages import Steps


class Port(Part):
    """A computer's port under a name of ours. Patterns are globs of `*` and `?`, case ignored (ruling 7).

    `both` is both directions, `input` and `output` one; a plain string means `both`. `true` takes our name as the
    pattern, and so does a port that has none of the three, both ways. `connection = "din"` is paced as a 5-pin cable;
    `clock` names the port whose clock and transport go out here, or "none"; `pass_reset` passes system reset on;
    `steps` act before every rule.
    """

    both: Pattern | None = None
    input: PatternOrTrue | None = None
    output: PatternOrTrue | None = None
    virtual: bool = False
    connection: Literal["din", "usb"] = "usb"
    clock: Reference | None = None
    pass_reset: bool = False
    steps: Steps = ()

    @model_validator(mode="before")
    @classmethod
    def _from_short(cls, raw: Any) -> Any:
        if isinstance(raw, str):
            return {"both": raw}
        if not isinstance(raw, dict | Port):
            raise fault(f"{shown(raw)} is not a port: write the computer's name for it in quotes, or {{ key = value }}")
        return raw

    @model_validator(mode="after")
    def _directions(self) -> Port:
        if self.both is not None and (self.input is not None or self.output is not None):
            raise fault("`both` is both directions: write it alone, or `input` and `output`")
        if not self.can_send and (self.clock is not None or self.pass_reset):
            raise fault("`clock` and `pass_reset` say what goes out here, and this port has no output")
        return self

    @property
    def can_receive(self) -> bool:
        """Whether messages can come from here."""
        return self.output is None or self.input is not None

    @property
    def can_send(self) -> bool:
        """Whether messages can go here."""
        return self.input is None or self.output is not None


class Device(Part):
    """An instrument at the end of a port, as its manual says; its channel (1-16) is set last (ruling 8)."""

    port: Reference
    channel: Channel | None = None
    notes: NoteRange | None = None
    outside: Literal["pass", "drop", "octave"] = "pass"
    setup: Messages = ()
    steps: Steps = ()

    @model_validator(mode="after")
    def _range_given(self) -> Device:
        if self.outside != "pass" and self.notes is None:
            raise fault("`outside` needs `notes`, the range of the device")
        if self.outside == "octave" and self.notes is not None and self.notes[1] - self.notes[0] < 11:
            raise fault('`outside = "octave"` needs a range of at least an octave')
        return self
