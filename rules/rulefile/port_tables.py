"""`[ports]` and `[devices]`: the ports of the computer, and the instruments behind them."""

from __future__ import annotations

from typing import Literal

from pydantic import model_validator

from rules.fields.names import Pattern, PatternOrTrue, Reference
from rules.fields.numbers import Channel, NoteRange
from rules.fields.part import Part, fault
from rules.fields.written_messages import Messages
from rules.rulefile.stages import Steps


class Port(Part):
    """A computer's port under a name of ours. Patterns are globs of `*` and `?`, case ignored (ruling 7).

    `port` is both directions, `input` and `output` one; `true` takes our name as the pattern, and so does a port that
    says none of the three, both ways. `wire = "din"` is paced as a 5-pin wire; `clock` names the port whose clock and
    transport go out here, or "none"; `reset` passes system reset on; `steps` act before every rule.
    """

    port: Pattern | None = None
    input: PatternOrTrue | None = None
    output: PatternOrTrue | None = None
    virtual: bool = False
    wire: Literal["din", "usb"] = "usb"
    clock: Reference | None = None
    reset: bool = False
    steps: Steps = ()

    @model_validator(mode="after")
    def _directions(self) -> Port:
        if self.port is not None and (self.input is not None or self.output is not None):
            raise fault("`port` is both directions: write it alone, or `input` and `output`")
        if not self.can_send and (self.clock is not None or self.reset):
            raise fault("`clock` and `reset` say what goes out here, and this port has no output")
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
    outside: Literal["pass", "drop", "fold"] = "pass"
    setup: Messages = ()
    steps: Steps = ()

    @model_validator(mode="after")
    def _range_given(self) -> Device:
        if self.outside != "pass" and self.notes is None:
            raise fault("`outside` needs `notes`, the range of the device")
        if self.outside == "fold" and self.notes is not None and self.notes[1] - self.notes[0] < 11:
            raise fault('`outside = "fold"` needs a range of at least an octave')
        return self
