"""`velocity`: shapes how hard notes are; 1-127 stays 1-127, release velocity is left alone unless asked."""

from __future__ import annotations

import itertools
import math
from collections.abc import Sequence
from fractions import Fraction
from functools import cached_property, lru_cache
from typing import Annotated, Any, ClassVar, Final, NamedTuple

from pydantic import Field, model_validator

from rules.fields.numbers import Channels, Velocity, VelocityRange, decimal, whole
from rules.fields.table_model import fault
from rules.midi.messages import NOTE_OFF, NOTE_ON
from rules.midi.notation import Naming
from rules.program.byte_tables import IDENTITY, table_of
from rules.program.forms import Form
from rules.steps.base import Step, StepContext
from rules.steps.rounding import rounded_quotient
from rules.steps.wording import channels

_SHAPES: Final = ("points", "quieter", "louder", "percent", "add", "fixed", "limit", "scale_to")
Amount = Annotated[float, decimal("an amount", 0.01, 10)]


class Shape(NamedTuple):
    """What a step does to a velocity, by itself: steps of equal shape share one table."""

    points: tuple[tuple[int, ...], ...] | None
    quieter: float | None
    louder: float | None
    percent: float | None
    add: int | None
    fixed: int | None
    limit: tuple[int, int] | None
    scale_to: tuple[int, int] | None

    def of(self, velocity: int) -> int:
        """The velocity (1-127) sent for one played (1-127)."""
        return max(1, min(127, self._raw(velocity)))

    def _raw(self, velocity: int) -> int:
        if self.points is not None:
            return _along(self.points, velocity)
        if self.quieter is not None or self.louder is not None:
            exponent = 1 + self.quieter if self.quieter is not None else 1 / (1 + (self.louder or 0))
            return math.floor(127 * math.pow(velocity / 127, exponent) + 0.5)
        if self.fixed is not None:
            return self.fixed
        if self.limit is not None:
            return max(self.limit[0], min(self.limit[1], velocity))
        if self.scale_to is not None:
            low, high = self.scale_to
            return low + rounded_quotient((velocity - 1) * (high - low), 126)
        if self.percent is not None:
            percent = Fraction(self.percent).limit_denominator(10_000)
            velocity = rounded_quotient(velocity * percent.numerator, 100 * percent.denominator)
        return velocity + (self.add or 0)


@lru_cache(maxsize=1024)
def _table(shape: Shape) -> bytes:
    return table_of(lambda velocity: shape.of(velocity) if velocity else 0)


def _along(points: Sequence[Sequence[int]], velocity: int) -> int:
    if velocity <= points[0][0]:
        return points[0][1]
    for (left, low), (right, high) in itertools.pairwise(points):
        if velocity <= right:
            return low + rounded_quotient((velocity - left) * (high - low), right - left)
    return points[-1][1]


class VelocityStep(Step):
    """One shape a step (ruling 20); the result is rounded half up and clamped to 1-127.

    - `points = [[1, 20], [127, 120]]`: straight lines between, flat outside;
    - `quieter` / `louder`: by an amount of 0.01 to 10, as 127 * (v / 127) ** g with g = 1 + amount, or
      1 / (1 + amount);
    - `percent`, `add`: scale, then shift (together they are one shape);
    - `fixed`: one velocity;
    - `limit = "30..100"`: limits; `scale_to = "20..127"`: 1-127 spread evenly over a range.

    `channel` restricts it to some channels; `release = true` shapes release velocities as well.
    """

    key: ClassVar[str] = "velocity"
    points: list[list[Velocity]] | None = Field(
        default=None,
        description="draws straight lines between pairs [played, sent]; flat beyond the ends",
        examples=["{ velocity = { points = [[1, 20], [64, 80], [127, 120]] } }"],
    )
    quieter: Amount | None = Field(
        default=None,
        description="bends the curve down by an amount, 0.01 to 10; 127 stays 127",
        examples=["{ velocity = { quieter = 0.5 } }"],
    )
    louder: Amount | None = Field(
        default=None,
        description="bends the curve up by an amount, 0.01 to 10; 127 stays 127",
        examples=["{ velocity = { louder = 0.5 } }"],
    )
    percent: Annotated[float, decimal("a percentage", 0, 1000)] | None = Field(
        default=None,
        description="scales velocities, 0 to 1000 percent",
        examples=["{ velocity = { percent = 80 } }"],
    )
    add: Annotated[int, whole("a velocity to add", -127, 127)] | None = Field(
        default=None,
        description="adds to velocities, after `percent`, -127 to 127",
        examples=["{ velocity = { percent = 80, add = 10 } }"],
    )
    fixed: Velocity | None = Field(
        default=None,
        description="gives every note this velocity, 1 to 127",
        examples=["{ velocity = { fixed = 100 } }"],
    )
    limit: VelocityRange | None = Field(
        default=None,
        description="keeps velocities within a range",
        examples=['{ velocity = { limit = "30..110" } }'],
    )
    scale_to: VelocityRange | None = Field(
        default=None,
        description="spreads the whole range 1 to 127 over this range",
        examples=['{ velocity = { scale_to = "20..127" } }'],
    )
    channel: Channels | None = Field(
        default=None,
        description="changes only these channels",
        examples=['{ velocity = { percent = 80, channel = "1..4" } }'],
        json_schema_extra={"default": "all"},
    )
    release: bool = Field(
        default=False,
        description="changes release velocities too",
        examples=["{ velocity = { fixed = 64, release = true } }"],
    )

    @classmethod
    def from_short(cls, raw: Any) -> Any:
        """A number: always this velocity."""
        return {"fixed": raw} if isinstance(raw, int) and not isinstance(raw, bool) else raw

    @model_validator(mode="after")
    def _one_shape(self) -> VelocityStep:
        given = [name for name in _SHAPES if getattr(self, name) is not None]
        if len(given) != 1 and given != ["percent", "add"]:
            found = f"found {' and '.join(f'`{name}`' for name in given)}" if given else "found none"
            raise fault(f"a velocity step needs one shape ({found}): write one of {', '.join(_SHAPES)}, or two steps")
        if self.points is not None:
            self._check_points(self.points)
        return self

    @staticmethod
    def _check_points(points: list[list[int]]) -> None:
        if not points or any(len(point) != 2 for point in points):
            raise fault("`points` are pairs [played, sent], as in [[1, 20], [64, 80], [127, 120]]")
        if any(later[0] <= earlier[0] for earlier, later in itertools.pairwise(points)):
            raise fault("`points` go upwards: each played velocity must be above the one before")

    @cached_property
    def shape(self) -> Shape:
        """The shape by itself."""
        points = None if self.points is None else tuple(map(tuple, self.points))
        return Shape(points, self.quieter, self.louder, self.percent, self.add, self.fixed, self.limit, self.scale_to)

    @cached_property
    def table(self) -> bytes:
        """The shape on 0-127; 0, which is no velocity, stays 0."""
        return _table(self.shape)

    @property
    def curve(self) -> Shape:
        """The shape."""
        return self.shape

    def words(self, naming: Naming) -> str:
        """The step in words."""
        only = f", only {channels(self.channel)}" if self.channel is not None else ""
        release = ", releases too" if self.release else ""
        return f"velocity {self._shape_words()}{only}{release}"

    def _shape_words(self) -> str:
        if self.points is not None:
            return ", ".join(f"{played} to {sent}" for played, sent in self.points)
        if self.quieter is not None or self.louder is not None:
            return f"quieter by {self.quieter:g}" if self.quieter is not None else f"louder by {self.louder:g}"
        if self.fixed is not None:
            return f"fixed at {self.fixed}"
        for done, ends in (("limited", self.limit), ("scaled", self.scale_to)):
            if ends is not None:
                return f"{done} to {ends[0]}..{ends[1]}"
        scaled = f"{self.percent:g} percent" if self.percent is not None else ""
        return f"{scaled} {self.add or 0:+d}".strip() if self.add is not None else scaled

    def fold(self, form: Form, context: StepContext) -> list[Form]:
        """The form with its velocity shaped, and with what will shape its release velocity."""
        if self.channel is not None and form.channel not in self.channel:
            return [form]
        if form.kind == NOTE_ON:
            release = form.release
            if self.release:
                release = (release or IDENTITY).translate(self.table)
            return [form._replace(two=form.two.translate(self.table), release=release)]
        if form.kind == NOTE_OFF and self.release:
            return [form._replace(two=form.two.translate(self.table))]
        return [form]
