"""Forms and lanes: what a chain of steps makes of a message, as tables over its data bytes.

A *form* describes every message of one incoming status at once. Its two outgoing data bytes are tables, each fed by
one of the incoming data bytes; gates, sets of data bytes with a bit for each, say for which incoming bytes it exists.
Steps turn forms into forms, and since the tables are byte strings, `bytes.translate` joins two steps. A *lane* is a
form made ready to be looked up.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable
from functools import lru_cache
from typing import TYPE_CHECKING, Final, NamedTuple

from rules.guards import ALWAYS, Guard, both
from rules.holder import note_place
from rules.messages import LENGTH, SYSEX

if TYPE_CHECKING:
    from rules.nodes.base import Node

ALL: Final = (1 << 128) - 1
"""The gate that lets every data byte through: bit n stands for byte n."""

IDENTITY: Final = bytes(range(128)) + b"\xff" * 128
NO_BYTE: Final = 255
"""What a table gives where nothing comes of a data byte."""

FIRST, SECOND = 1, 2


def gate_of(numbers: Iterable[int]) -> int:
    """The gate for a set of data bytes."""
    gate = 0
    for number in numbers:
        gate |= 1 << number
    return gate


def table_of(function: Callable[[int], int]) -> bytes:
    """The table of a function on 0-127."""
    return bytes(function(number) for number in range(128)) + b"\xff" * 128


@lru_cache(maxsize=512)
def constant(value: int) -> bytes:
    """The table that always gives one value."""
    return bytes((value,)) * 128 + b"\xff" * 128


@lru_cache(maxsize=4096)
def preimage(table: bytes, wanted: int) -> int:
    """The gate of those bytes that a table sends into the gate `wanted`."""
    if table is IDENTITY:
        return wanted
    gate = 0
    for number in range(128):
        if wanted >> table[number] & 1:
            gate |= 1 << number
    return gate


@lru_cache(maxsize=1024)
def open_in(gate: int) -> tuple[int, ...]:
    """The bytes that a gate lets through; walks the set bits only, since most gates of many rules are narrow."""
    found = []
    while gate:
        low = gate & -gate
        found.append(low.bit_length() - 1)
        gate ^= low
    return tuple(found)


@lru_cache(maxsize=4096)
def image(table: bytes, gate: int) -> int:
    """The gate of what a table makes of the bytes that a gate lets through."""
    return gate if table is IDENTITY else gate_of(table[number] for number in open_in(gate))


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
    node: Node | None = None
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
        """What is left of this form when `part`, a restriction of it, is taken away: at most two disjoint pieces."""
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


@lru_cache(maxsize=128)
def _each_head(status: int) -> tuple[bytes, ...]:
    return (*(bytes((status, value)) for value in range(128)), *(b"",) * 128)


@lru_cache(maxsize=4096)
def _heads(status: int, table: bytes) -> tuple[bytes, ...]:
    return tuple(map(_each_head(status).__getitem__, table[:128]))


_EACH_TAIL: Final = (*(bytes((value,)) for value in range(128)), *(b"",) * 128)
_NO_TAILS: Final = (b"",) * 128


@lru_cache(maxsize=4096)
def _tails(table: bytes) -> tuple[bytes, ...]:
    return tuple(map(_EACH_TAIL.__getitem__, table[:128]))


@lru_cache(maxsize=1024)
def _each_place(target: int, status: int) -> tuple[int, ...]:
    return tuple(note_place(target, status, value) for value in range(256))


@lru_cache(maxsize=4096)
def _places(target: int, status: int, table: bytes) -> tuple[int, ...]:
    return tuple(map(_each_place(target, status).__getitem__, table[:128]))


def _closed(table: bytes, gate: int) -> bytes:
    if gate == ALL:
        return table
    return bytes(table[n] if gate >> n & 1 else NO_BYTE for n in range(128)) + table[128:]


closed: Final = lru_cache(maxsize=8192)(_closed)
"""A table with NO_BYTE where a gate is shut."""


class Lane:
    """One way out of a cell: status and tables for the data bytes, to a port (`target`) or a node.

    In its cell the first incoming byte is fixed and fits, so only `gate[d2]` is tested (NO_BYTE: not here). `heads` and
    `tails` are the outgoing bytes ready made for plain lanes, whose bytes keep their order.
    """

    __slots__ = (
        "feed_one",
        "feed_two",
        "gate",
        "guard",
        "heads",
        "node",
        "one",
        "places",
        "plain",
        "release",
        "rule",
        "short",
        "status",
        "tails",
        "target",
        "turns",
        "two",
    )

    def __init__(self, form: Form) -> None:
        self.status: Final = form.status
        self.one: Final = form.one
        self.two: Final = form.two
        self.feed_one: Final = form.feed_one
        self.feed_two: Final = form.feed_two
        self.gate: Final = closed(IDENTITY, form.gate_two)
        self.guard: Final = form.guard
        self.release: Final = form.release
        self.node: Final = form.node
        self.target: Final = form.target
        self.turns: Final = form.node is not None and not form.node.leads_on
        self.rule: Final = form.rule
        self.short: Final = form.status < SYSEX and LENGTH[form.status] == 2
        self.plain: Final = (
            form.node is None
            and form.guard == ALWAYS
            and form.feed_one == FIRST
            and form.feed_two == SECOND
            and form.status < SYSEX
        )
        self.heads: tuple[bytes, ...] = ()
        self.tails: tuple[bytes, ...] = ()
        self.places: tuple[int, ...] = ()
        if self.plain:
            self.places = _places(form.target, form.status, form.one)
            self.heads = _heads(form.status, form.one)
            self.tails = _NO_TAILS if self.short else _tails(closed(form.two, form.gate_two))

    def first(self, d1: int, d2: int) -> int:
        """The outgoing first data byte."""
        return self.one[d1 if self.feed_one == FIRST else d2]

    def second(self, d1: int, d2: int) -> int:
        """The outgoing second data byte."""
        return self.two[d1 if self.feed_two == FIRST else d2]

    def message(self, d1: int, d2: int) -> bytes:
        """The outgoing bytes."""
        if self.short:
            return bytes((self.status, self.first(d1, d2)))
        return bytes((self.status, self.first(d1, d2), self.second(d1, d2)))
