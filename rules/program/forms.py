"""Forms: what a chain of steps makes of a message, as tables over its data bytes.

A *form* describes every message of one incoming status at once. Its two outgoing data bytes are tables, each fed by
one of the incoming data bytes; gates say for which incoming bytes it exists. Steps turn forms into forms.
"""

from __future__ import annotations

from typing import NamedTuple

from rules.midi.messages import SYSEX, split_message
from rules.program.byte_tables import ALL, FIRST, IDENTITY, SECOND, constant, preimage
from rules.program.guards import ALWAYS, Guard, both
from rules.program.tables import AnyNode, Lane


class Form(NamedTuple):
    """What becomes of the messages of one incoming status.

    `status` is the outgoing status byte, channel included. `one` and `two` are 256-byte tables of the outgoing data
    bytes, fed by the incoming byte `feed_one` / `feed_two` (1 or 2). It exists where both gates are open and `guard`
    holds. `release` shapes the release velocity of notes begun here. It ends at `node` or at the port `target`; `rule`
    is the name of the rule that it belongs to, if any: numbers change when rules are replaced.
    """

    status: int
    one: bytes = IDENTITY
    two: bytes = IDENTITY
    feed_one: int = FIRST
    feed_two: int = SECOND
    gate_one: int = ALL
    gate_two: int = ALL
    guard: Guard = ALWAYS
    release: bytes | None = None
    node: AnyNode | None = None
    target: int = -1
    rule: str = ""

    @property
    def kind(self) -> int:
        """The outgoing status without its channel; system statuses whole."""
        return self.status & 0xF0 if self.status < SYSEX else self.status

    @property
    def channel(self) -> int | None:
        """The outgoing channel 1-16, or None for system messages."""
        return (self.status & 0x0F) + 1 if self.status < SYSEX else None

    @property
    def exists(self) -> bool:
        """Whether any message can take this form."""
        return bool(self.gate_one and self.gate_two and self.guard)

    def having_one(self, wanted: int) -> Form:
        """This form, only where the outgoing first data byte lies in the gate `wanted`."""
        return self._gated(self.feed_one, preimage(self.one, wanted))

    def having_two(self, wanted: int) -> Form:
        """This form, only where the outgoing second data byte lies in the gate `wanted`."""
        return self._gated(self.feed_two, preimage(self.two, wanted))

    def _gated(self, feed: int, gate: int) -> Form:
        if feed == FIRST:
            return self if self.gate_one & ~gate == 0 else self._replace(gate_one=self.gate_one & gate)
        return self if self.gate_two & ~gate == 0 else self._replace(gate_two=self.gate_two & gate)

    def guarded(self, guard: Guard) -> Form:
        """This form, only while `guard` holds."""
        return self if guard == ALWAYS else self._replace(guard=both(self.guard, guard))

    def without(self, part: Form) -> list[Form]:
        """Return what is left of this form without `part`, a restriction of it: at most two disjoint pieces."""
        pieces = []
        if rest := self.gate_one & ~part.gate_one:
            pieces.append(self._replace(gate_one=rest))
        if rest := self.gate_two & ~part.gate_two:
            pieces.append(self._replace(gate_one=self.gate_one & part.gate_one, gate_two=rest))
        return pieces

    def spread(self) -> list[Form]:
        """The same messages with both outgoing bytes fed by one incoming byte: a 14-bit value can then be judged.

        Where the bytes have different feeds that takes one form for each incoming first byte.
        """
        if self.feed_one == self.feed_two:
            return [self]
        if self.feed_one == SECOND:
            raise AssertionError("no step crosses the data bytes over")
        return [
            self._replace(one=constant(self.one[number]), feed_one=SECOND, gate_one=1 << number)
            for number in range(128)
            if self.gate_one >> number & 1
        ]

    def fourteen(self, number: int) -> int:
        """The outgoing 14-bit value (0-16383) of a spread form, for the incoming byte that feeds it."""
        return self.two[number] << 7 | self.one[number]

    def lane(self) -> Lane:
        """This form made ready to be looked up."""
        return Lane(
            self.status,
            one=self.one,
            two=self.two,
            feed_one=self.feed_one,
            feed_two=self.feed_two,
            gate_two=self.gate_two,
            guard=self.guard,
            release=self.release,
            node=self.node,
            target=self.target,
            rule=self.rule,
        )


def form_of(message: bytes) -> Form:
    """The form of one message alone."""
    status, first, second = split_message(message)
    return Form(status) if status >= SYSEX else Form(status, gate_one=1 << first, gate_two=1 << second)
