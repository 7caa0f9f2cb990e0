"""`map`: turns controllers, bends, pressure, programs and notes into one another, and notes into other notes."""

from __future__ import annotations

import math
from dataclasses import dataclass
from fractions import Fraction
from typing import Annotated, Any, ClassVar, Final, Literal

from pydantic import BeforeValidator, Field, ValidationInfo, field_validator, model_validator

from rules.errors import NotationError
from rules.language.values import Controller, Note, Program, fault, naming_of, read_ends, read_range, shown
from rules.messages import BEND_CENTRE
from rules.notation import nearest, parse_controller, parse_note
from rules.steps.base import Step

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
    notes: dict[Note, Note] = Field(default_factory=dict)
    controllers: dict[Controller, Controller] = Field(default_factory=dict)
    programs: dict[Program, Program] = Field(default_factory=dict)
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


def _middle(low: int, high: int, is_bend: bool) -> int:
    return 0 if is_bend else (low + high + 1) // 2


def _line(value: int, low: int, high: int, first: int, last: int) -> int:
    if low == high:
        return first
    return math.floor(Fraction((value - low) * (last - first), high - low) + first + Fraction(1, 2))
