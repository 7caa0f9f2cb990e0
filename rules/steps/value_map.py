"""One value made into another, as by `map`: from a controller, bend, pressure, program or note, to one of these."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property, lru_cache

from rules.midi.messages import (
    BEND_CENTRE,
    CHANNEL_PRESSURE,
    CONTROLLER,
    KEY_PRESSURE,
    NOTE_OFF,
    NOTE_ON,
    PITCH_BEND,
    PROGRAM,
    STATUS_OF_KIND,
)
from rules.midi.notation import Naming, format_controller, format_note
from rules.program.byte_tables import IDENTITY, constant, gate_of, table_of
from rules.program.forms import Form
from rules.program.node import Node
from rules.steps.base import StepContext
from rules.steps.crossing_node import CrossingNode
from rules.steps.fourteen_bit_node import FourteenBitNode
from rules.steps.rounding import rounded_quotient


@dataclass(frozen=True, slots=True)
class End:
    """One end of a map: a kind and, for a controller, a note or key pressure, its number 0-127 (None: any)."""

    kind: str
    number: int | None

    def is_wide(self, bits: int) -> bool:
        """Return whether this is, with `bits` of 14, a pair of controllers: one of 0-31 with its fine half 32 above."""
        return bits == 14 and self.kind == "controller" and self.number is not None and self.number < 32

    def span(self, bits: int) -> tuple[int, int]:
        """The lowest and highest value."""
        if self.is_wide(bits):
            return 0, 16383
        if self.kind == "pitch-bend":
            return -BEND_CENTRE, BEND_CENTRE - 1
        return 0, 127

    def words(self, naming: Naming) -> str:
        """The end as it is written."""
        if self.number is None:
            return self.kind
        is_controller = self.kind == "controller"
        return f"{self.kind} {format_controller(self.number) if is_controller else format_note(self.number, naming)}"


@dataclass(frozen=True)
class ValueMap:
    """From one end to the other: `inside` is spread over `out`, None being all that an end has."""

    source: End
    to: End
    bits: int = 7
    inside: tuple[int, int] | None = None
    out: tuple[int, int] | None = None

    def mapped(self, value: int) -> int:
        """The value that goes out for one that came in, both counted as in the rule file (bends from -8192).

        Linear, rounded half up. Where a bend is at either end and its side crosses 0, the two halves are scaled apart,
        so that the middle stays the middle: 0 for a bend, else the upper of the two middle values (64, 8192).
        """
        (low, high), (first, last) = self._spans
        value = max(low, min(high, value))
        in_middle = _middle(low, high, self.source.kind == "pitch-bend")
        out_middle = _middle(min(first, last), max(first, last), self.to.kind == "pitch-bend")
        bent = "pitch-bend" in (self.source.kind, self.to.kind)
        if bent and low < in_middle < high and min(first, last) < out_middle < max(first, last):
            if value <= in_middle:
                return _line(value, low, in_middle, first, out_middle)
            return _line(value, in_middle, high, out_middle, last)
        return _line(value, low, high, first, last)

    @property
    def _spans(self) -> tuple[tuple[int, int], tuple[int, int]]:
        return self.inside or self.source.span(self.bits), self.out or self.to.span(self.bits)

    def words(self, naming: Naming) -> str:
        """Both ends in words, and the ranges if any was written."""
        onto = ""
        if self.inside is not None or self.out is not None:
            (low, high), (first, last) = self._spans
            onto = f", {low}..{high} onto {first}..{last}"
        bits = ", 14 bits" if self.bits == 14 else ""
        return f"{self.source.words(naming)} to {self.to.words(naming)}{onto}{bits}"

    @property
    def remembers(self) -> bool:
        """Pairs of 14 bits and notes made from values have a node."""
        return self.source.is_wide(self.bits) or (self.to.kind == "note" and self.source.kind != "note")

    def fold(self, form: Form, context: StepContext) -> list[Form]:
        """Map what `source` names; the rest passes."""
        named = self._named(form)
        if named is None:
            return [form]
        return [*form.without(named), *self._folded(named, context)]

    def _named(self, form: Form) -> Form | None:
        """The part of the form that `source` names."""
        source = self.source
        if source.kind == "note":
            if form.kind not in (NOTE_ON, NOTE_OFF):
                return None
        elif form.kind != STATUS_OF_KIND[source.kind]:
            return None
        if source.number is None:
            return form
        wanted = {source.number, source.number + 32} if source.is_wide(self.bits) else {source.number}
        part = form.having_one(gate_of(wanted))
        return part if part.exists else None

    def _folded(self, form: Form, context: StepContext) -> list[Form]:
        if self.source.is_wide(self.bits):
            return [form._replace(node=context.node(lambda: FourteenBitNode(self.outputs, self._output_tables)))]
        if self.to.kind == "program" and form.kind == NOTE_OFF:
            return []  # a pad that is let go doesn't choose again
        if self.source.kind == "note" and self.to.kind == "note":
            return [self._note_to_note(form)]
        node = context.node(CrossingNode) if self.to.kind == "note" else None
        if form.kind == PITCH_BEND:
            table = self._bends
            pieces = [(piece, tuple(table[piece.fourteen(n)] for n in range(128))) for piece in form.spread()]
        else:
            pieces = [(form, self._values(form))]
        return [made for piece, values in pieces for made in self._made(piece, values, node)]

    @cached_property
    def _bends(self) -> tuple[int, ...]:
        """The mapped value of every bend (ruling 21: by one table)."""
        return tuple(self.mapped(value - BEND_CENTRE) for value in range(2 * BEND_CENTRE))

    def _note_to_note(self, form: Form) -> Form:
        one = form.one if self.to.number is None else constant(self.to.number)
        if form.kind == NOTE_OFF:
            return form._replace(one=one)
        velocities = table_of(lambda number: max(1, min(127, self.mapped(number))) if number else 0)
        return form._replace(one=one, two=form.two.translate(velocities))

    def _values(self, form: Form) -> tuple[int, ...]:
        """The mapped value for each incoming value byte of a form with a 7-bit value; a note-off has the value 0."""
        if form.kind == NOTE_OFF:
            return (self.mapped(0),) * 128
        table = form.one if form.kind in (PROGRAM, CHANNEL_PRESSURE) else form.two
        return tuple(self.mapped(table[number]) if table[number] < 128 else 0 for number in range(128))

    def _made(self, form: Form, values: tuple[int, ...], node: Node | None) -> list[Form]:
        """The forms for mapped values, as a function of the byte that feeds the value."""
        feed = form.feed_one if form.kind in (PROGRAM, CHANNEL_PRESSURE) else form.feed_two
        channel = form.status & 0x0F
        made = []
        for kind, first, second in _shapes(self.to, self.to.is_wide(self.bits), values):
            keeps_key = first is None
            made.append(
                form._replace(
                    status=kind | channel,
                    one=form.one if first is None else first,
                    feed_one=form.feed_one if keeps_key else feed,
                    two=second,
                    feed_two=feed,
                    node=node,
                )
            )
        return made

    def outputs(self, value: int) -> list[tuple[int, int, int]]:
        """The messages for a 14-bit value, as status without channel and data bytes."""
        shapes = _shapes(self.to, self.to.is_wide(self.bits), (self.mapped(value),) * 128)
        return [(kind, (first or IDENTITY)[0], second[0]) for kind, first, second in shapes]

    def _output_tables(self, values: Sequence[int]) -> list[tuple[int, bytes, bytes]]:
        """The messages for 128 values of 14 bits, as status without channel and tables of data bytes."""
        mapped = self._wide_values
        shapes = _shapes(self.to, self.to.is_wide(self.bits), tuple(mapped[value] for value in values))
        return [(kind, constant(0) if first is None else first, second) for kind, first, second in shapes]

    @cached_property
    def _wide_values(self) -> tuple[int, ...]:
        """The mapped value of every value of 14 bits: computed once, since each channel asks for all of them."""
        return tuple(self.mapped(value) for value in range(1 << 14))


@lru_cache(maxsize=2048)
def _tables(values: tuple[int, ...]) -> tuple[bytes, bytes]:
    """Low and high seven bits of each value."""
    return table_of(lambda number: values[number] & 0x7F), table_of(lambda number: values[number] >> 7 & 0x7F)


def _shapes(to: End, wide: bool, values: tuple[int, ...]) -> list[tuple[int, bytes | None, bytes]]:
    """Return how values are written at an end: status without channel and two tables; no first table keeps the key."""
    low, high = _tables(tuple(value + BEND_CENTRE for value in values) if to.kind == "pitch-bend" else values)
    number = constant(to.number) if to.number is not None else None
    match to.kind:
        case "pitch-bend":
            return [(PITCH_BEND, low, high)]
        case "channel-pressure" | "program":
            return [(STATUS_OF_KIND[to.kind], low, constant(0))]
        case "key-pressure":
            return [(KEY_PRESSURE, number, low)]
        case "note":
            return [(NOTE_ON, number, low)]
    assert to.number is not None
    if wide:
        return [(CONTROLLER, number, high), (CONTROLLER, constant(to.number + 32), low)]
    return [(CONTROLLER, number, low)]


def _middle(low: int, high: int, is_bend: bool) -> int:
    return 0 if is_bend else (low + high + 1) // 2


def _line(value: int, low: int, high: int, first: int, last: int) -> int:
    """The point on a straight line, rounded half up."""
    if low == high:
        return first
    return first + rounded_quotient((value - low) * (last - first), high - low)
