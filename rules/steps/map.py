"""`map`: turns controllers, bends, pressure, programs and notes into one another, and notes into other notes."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property, lru_cache
from typing import Annotated, Any, ClassVar, Final, Literal

from pydantic import BeforeValidator, Field, ValidationInfo, field_validator, model_validator

from rules.errors import NotationError
from rules.lanes import ALL, IDENTITY, Form, constant, gate_of, table_of
from rules.language.values import Controller, EachOnce, Note, Program, fault, naming_of, read_ends, read_range, shown
from rules.matching import NOTE_STATUSES
from rules.messages import (
    BEND_CENTRE,
    CONTROLLER,
    MOST_MODE,
    NOTE_OFF,
    NOTE_ON,
    PITCH_BEND,
    POLY_PRESSURE,
    PRESSURE,
    PROGRAM,
    STATUS_OF_KIND,
    SYSEX,
)
from rules.nodes.base import Node
from rules.nodes.crossing import CrossingNode
from rules.nodes.fourteen import FourteenBitNode
from rules.notation import Naming, format_controller, format_note, nearest, parse_controller, parse_note
from rules.steps.base import Step, Surroundings
from rules.steps.rounding import rounded_quotient
from rules.steps.wording import note_of, pairs, program_of

_KINDS: Final = ("controller", "pitch-bend", "pressure", "poly-pressure", "program", "note")


@dataclass(frozen=True, slots=True)
class End:
    """One end of a map: a kind and, for a controller, a note or poly pressure, its number 0-127 (None: any)."""

    kind: str
    number: int | None

    @property
    def span(self) -> tuple[int, int]:
        """The lowest and highest value that a 7-bit end has."""
        if self.kind == "pitch-bend":
            return -BEND_CENTRE, BEND_CENTRE - 1
        return 0, 127

    def words(self, naming: Naming) -> str:
        """The end as it is written."""
        if self.number is None:
            return self.kind
        is_controller = self.kind == "controller"
        return f"{self.kind} {format_controller(self.number) if is_controller else format_note(self.number, naming)}"


def _end(raw: Any, info: ValidationInfo) -> Any:
    if isinstance(raw, End):
        return raw
    if not isinstance(raw, str) or not raw.strip():
        raise fault(
            f'{shown(raw)} is not one end of a map: write one such as "controller modulation", "pitch-bend", "note C1"'
        )
    kind, _, rest = raw.strip().partition(" ")
    if kind not in _KINDS:
        raise fault(f'"{kind}" can\'t be mapped: allowed are {", ".join(_KINDS)}{nearest(kind, _KINDS)}')
    try:
        if kind == "controller" and not rest:
            raise fault('say which controller, by name or number, as in "controller modulation"')
        if kind == "controller":
            return End(kind, parse_controller(rest))
        if kind in ("note", "poly-pressure") and rest:
            return End(kind, parse_note(rest, naming_of(info)))
    except NotationError as error:
        raise fault(str(error)) from None
    if rest:
        raise fault(f"`{kind}` stands alone in a map; it has no number")
    return End(kind, None)


def _is_wide(end: End, bits: int) -> bool:
    return bits == 14 and end.kind == "controller" and end.number is not None and end.number < 32


def _span(end: End, bits: int) -> tuple[int, int]:
    return (0, 16383) if _is_wide(end, bits) else end.span


EndField = Annotated[End, BeforeValidator(_end)]


class MapStep(Step):
    """`map = { from = "controller mod", to = "pitch-bend", in = "0..127", out = "0..8191" }`, or tables of numbers.

    - `from` / `to`: `controller NAME`, `pitch-bend`, `pressure`, `poly-pressure [NOTE]`, `program`, `note [NOTE]`. A
      note has its velocity as value, a note-off has 0. The value is clamped to `in` and spread over `out`;
      `out = "127..0"` turns it round. Bends count from -8192 to 8191, and the middle stays the middle (ruling 21).
    - `bits = 14`: the controllers named are pairs of 7 bits, n and n + 32, with values 0..16383.
    - `notes`, `controllers`, `programs`: tables old = new; `others` (`pass` or `drop`) says what happens to the rest.

    What a map doesn't name passes.
    """

    key: ClassVar[str] = "map"
    source: EndField | None = Field(default=None, alias="from")
    to: EndField | None = None
    bits: Literal[7, 14] = 7
    inside: tuple[int, int] | None = Field(default=None, alias="in")
    out: tuple[int, int] | None = None
    notes: Annotated[dict[Note, Note], EachOnce] = Field(default_factory=dict)
    controllers: Annotated[dict[Controller, Controller], EachOnce] = Field(default_factory=dict)
    programs: Annotated[dict[Program, Program], EachOnce] = Field(default_factory=dict)
    others: Literal["pass", "drop"] = "pass"

    @field_validator("inside", "out", mode="before")
    @classmethod
    def _read_values(cls, raw: Any, info: ValidationInfo) -> Any:
        """A range whose open ends depend on what is mapped; `out` may run downwards."""
        if raw is None or isinstance(raw, tuple):
            return raw
        end = info.data.get("source" if info.field_name == "inside" else "to")
        low, high = _span(end, info.data.get("bits", 7)) if isinstance(end, End) else (-BEND_CENTRE, 16383)
        what = f"a value of `{end.kind}`" if isinstance(end, End) else "a value"
        return (read_range if info.field_name == "inside" else read_ends)(raw, what, low, high, info)

    @model_validator(mode="after")
    def _fits_together(self) -> MapStep:
        tables = [name for name in ("notes", "controllers", "programs") if getattr(self, name)]
        if tables:
            if len(tables) > 1 or self.source or self.to or self.inside or self.out or self.bits != 7:
                raise fault(
                    "a map is one table (`notes`, `controllers` or `programs`), or goes `from` something `to` something"
                )
            return self
        if self.source is None or self.to is None:
            raise fault(
                'a map goes `from` something `to` something, as in { from = "pressure", to = "controller mod" }'
            )
        if self.others != "pass":
            raise fault("`others` goes with a table of notes, controllers or programs")
        self._check_ends(self.source, self.to)
        return self

    def _check_ends(self, source: End, to: End) -> None:
        if to.kind == "note" and source.kind == "program":
            raise fault("a program change has no release, so a note made from it would never end: use `send`")
        if to.kind == "note" and to.number is None and source.kind != "note":
            raise fault('say which note, as in to = "note C3"')
        if to.kind == "poly-pressure" and to.number is None and source.kind not in ("note", "poly-pressure"):
            raise fault('say of which note, as in to = "poly-pressure C3"')
        wide = [end for end in (source, to) if end.kind == "controller" and end.number is not None and end.number < 32]
        if self.bits == 14 and not wide:
            raise fault("`bits = 14` needs a controller 0-31, which has its fine half at 32-63")
        for end, span, name in ((source, self.inside, "in"), (to, self.out, "out")):
            low, high = self.span_of(end)
            if span is not None and not (low <= min(span) and max(span) <= high):
                raise fault(f"`{name}` lies inside {low}..{high} for {end.kind}")

    def is_wide(self, end: End) -> bool:
        """Whether this end is a controller pair of 14 bits."""
        return _is_wide(end, self.bits)

    def span_of(self, end: End) -> tuple[int, int]:
        """The lowest and highest value at this end."""
        return _span(end, self.bits)

    def mapped(self, value: int) -> int:
        """The value that goes out for one that came in, both counted as in the rule file (bends from -8192).

        Linear, rounded half up. Where a bend is at either end and its side crosses 0, the two halves are scaled apart,
        so that the middle stays the middle: 0 for a bend, else the upper of the two middle values (64, 8192).
        """
        assert self.source is not None
        assert self.to is not None
        low, high = self.inside or self.span_of(self.source)
        first, last = self.out or self.span_of(self.to)
        value = max(low, min(high, value))
        in_middle = _middle(low, high, self.source.kind == "pitch-bend")
        out_middle = _middle(min(first, last), max(first, last), self.to.kind == "pitch-bend")
        bent = "pitch-bend" in (self.source.kind, self.to.kind)
        if bent and low < in_middle < high and min(first, last) < out_middle < max(first, last):
            if value <= in_middle:
                return _line(value, low, in_middle, first, out_middle)
            return _line(value, in_middle, high, out_middle, last)
        return _line(value, low, high, first, last)

    def words(self, naming: Naming) -> str:
        """The step in words."""
        if self.source is None or self.to is None:
            others = ", others dropped" if self.others == "drop" else ""
            return f"map {self._table_words(naming)}{others}"
        onto = ""
        if self.inside is not None or self.out is not None:
            ends = (*(self.inside or self.span_of(self.source)), *(self.out or self.span_of(self.to)))
            onto = ", {}..{} onto {}..{}".format(*ends)
        bits = ", 14 bits" if self.bits == 14 else ""
        return f"map {self.source.words(naming)} to {self.to.words(naming)}{onto}{bits}"

    def _table_words(self, naming: Naming) -> str:
        if self.notes:
            return f"notes {pairs(self.notes, note_of(naming))}"
        if self.controllers:
            return f"controllers {pairs(self.controllers, format_controller)}"
        return f"programs {pairs(self.programs, program_of(naming))}"

    @property
    def remembers(self) -> bool:
        """Pairs of 14 bits and notes made from values have a node."""
        if self.source is None or self.to is None:
            return False
        return self.is_wide(self.source) or (self.to.kind == "note" and self.source.kind != "note")

    def fold(self, form: Form, around: Surroundings) -> list[Form]:
        """What is named is mapped, the rest passes."""
        if form.status >= SYSEX:
            return [form]
        if self.source is None:
            return self._by_table(form)
        named = self._named(form, self.source)
        if named is None:
            return [form]
        return [*form.without(named), *self._folded(named, around)]

    def _by_table(self, form: Form) -> list[Form]:
        """The form with its key, controller or program looked up in a table of numbers."""
        numbers, domain = self.programs, ALL
        kinds: tuple[int, ...] = (PROGRAM,)
        if self.notes:
            numbers, kinds = self.notes, NOTE_STATUSES
        elif self.controllers:
            numbers, kinds, domain = self.controllers, (CONTROLLER,), gate_of(range(MOST_MODE))
        if form.kind not in kinds:
            return [form]
        if self.others == "drop":
            form = form.having_one(gate_of(numbers) | ALL & ~domain)
        moved = table_of(lambda number: numbers.get(number, number) if domain >> number & 1 else number)
        return [form._replace(one=form.one.translate(moved))] if form.exists else []

    def _named(self, form: Form, source: End) -> Form | None:
        """The part of the form that `from` names."""
        if source.kind == "note":
            if form.kind not in (NOTE_ON, NOTE_OFF):
                return None
        elif form.kind != STATUS_OF_KIND[source.kind]:
            return None
        if source.number is None:
            return form
        wanted = {source.number, source.number + 32} if self.is_wide(source) else {source.number}
        part = form.having_one(gate_of(wanted))
        return part if part.exists else None

    def _folded(self, form: Form, around: Surroundings) -> list[Form]:
        assert self.source is not None
        assert self.to is not None
        if self.is_wide(self.source):
            return [form._replace(node=around.node(lambda: FourteenBitNode(self.outputs)))]
        if self.to.kind == "program" and form.kind == NOTE_OFF:
            return []  # a pad that is let go doesn't choose again
        if self.source.kind == "note" and self.to.kind == "note":
            return [self._note_to_note(form)]
        node = around.node(CrossingNode) if self.to.kind == "note" else None
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
        assert self.to is not None
        one = form.one if self.to.number is None else constant(self.to.number)
        if form.kind == NOTE_OFF:
            return form._replace(one=one)
        velocities = table_of(lambda number: max(1, min(127, self.mapped(number))) if number else 0)
        return form._replace(one=one, two=form.two.translate(velocities))

    def _values(self, form: Form) -> tuple[int, ...]:
        """The mapped value for each incoming value byte of a form with a 7-bit value; a note-off has the value 0."""
        if form.kind == NOTE_OFF:
            return (self.mapped(0),) * 128
        table = form.one if form.kind in (PROGRAM, PRESSURE) else form.two
        return tuple(self.mapped(table[number]) if table[number] < 128 else 0 for number in range(128))

    def _made(self, form: Form, values: tuple[int, ...], node: Node | None) -> list[Form]:
        """The forms for mapped values, as a function of the byte that feeds the value."""
        assert self.to is not None
        feed = form.feed_one if form.kind in (PROGRAM, PRESSURE) else form.feed_two
        channel = form.status & 0x0F
        made = []
        for kind, first, second in _shapes(self.to, self.is_wide(self.to), values):
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
        assert self.to is not None
        shapes = _shapes(self.to, self.is_wide(self.to), (self.mapped(value),) * 128)
        return [(kind, (first or IDENTITY)[0], second[0]) for kind, first, second in shapes]


@lru_cache(maxsize=2048)
def _tables(values: tuple[int, ...]) -> tuple[bytes, bytes]:
    """Low and high seven bits of each value."""
    return table_of(lambda number: values[number] & 0x7F), table_of(lambda number: values[number] >> 7 & 0x7F)


def _shapes(to: End, wide: bool, values: tuple[int, ...]) -> list[tuple[int, bytes | None, bytes]]:
    """How values are written at an end: status without channel and the two tables; no first table keeps the key."""
    low, high = _tables(tuple(value + BEND_CENTRE for value in values) if to.kind == "pitch-bend" else values)
    number = constant(to.number) if to.number is not None else None
    match to.kind:
        case "pitch-bend":
            return [(PITCH_BEND, low, high)]
        case "pressure" | "program":
            return [(STATUS_OF_KIND[to.kind], low, constant(0))]
        case "poly-pressure":
            return [(POLY_PRESSURE, number, low)]
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
