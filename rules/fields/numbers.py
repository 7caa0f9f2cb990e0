"""Numbers of a rule file: notes, channels, controllers, programs, velocities, ranges and sets of them, and durations.

Each type here is an annotation for a pydantic field. Notes and programs follow the `Naming` of their file, which the
reader passes as validation context. Sets of numbers come out as frozensets, channels as 1-16.
"""

from __future__ import annotations

import re
from collections.abc import Callable
from fractions import Fraction
from typing import Annotated, Any, Final

from pydantic import BeforeValidator, ValidationInfo
from pydantic_core import PydanticCustomError

from rules.errors import NotationError
from rules.fields.table_model import fault, naming_of, shown
from rules.midi.notation import format_note, parse_controller, parse_integer, parse_note

NumberParser = Callable[[str], int]


def _parser(what: str, low: int, high: int, info: ValidationInfo) -> NumberParser:
    """Return how one number of this sort is written in this file."""
    naming = naming_of(info)
    if what == "a note":
        return lambda text: parse_note(text, naming)
    if what == "a controller":
        return parse_controller
    if what == "a program":
        first = naming.first_program
        return lambda text: parse_integer(text, first, first + 127, what) - first
    return lambda text: parse_integer(text, low, high, what)


def _one(raw: Any, what: str, low: int, high: int, info: ValidationInfo) -> int:
    if isinstance(raw, bool) or not isinstance(raw, int | str) or shown(raw) == shown(10**18):
        raise fault(f"{shown(raw)} is not {what}: write {_allowed(what, low, high, info)}")
    try:
        return _parser(what, low, high, info)(str(raw))
    except NotationError as error:
        raise fault(str(error)) from None


def _allowed(what: str, low: int, high: int, info: ValidationInfo) -> str:
    naming = naming_of(info)
    match what:
        case "a note":
            return f'a name such as "{format_note(60, naming)}" (middle C) or a key 0-127'
        case "a controller":
            return "its number 0-127 or its name"
        case "a program":
            return f"a number from {naming.first_program} to {naming.first_program + 127}"
        case _:
            return f"a whole number from {low} to {high}"


_OTHER_RANGE: Final = re.compile(r"\s*(\S.*?)\s*(?:\.\.\.+|[-\u2013\u2014\u2026]|\bto\b)\s*(\S.*?)\s*")


def read_ends(raw: Any, what: str, low: int, high: int, info: ValidationInfo) -> tuple[int, int]:
    """The ends of a range `"A..B"` as written (an end that is left open is `low` or `high`), or of a single number.

    The error for a range in another form, such as `"A-B"`, says how it is written.
    """
    try:
        return _ends(raw, what, low, high, info)
    except PydanticCustomError:
        other = _OTHER_RANGE.fullmatch(raw) if isinstance(raw, str) else None
        if other is None or not all(_is_one(end, what, low, high, info) for end in other.groups()):
            raise
    raise fault(f'{shown(raw)} is not a range: write "{other[1]}..{other[2]}"')


def _is_one(text: str, what: str, low: int, high: int, info: ValidationInfo) -> bool:
    try:
        _one(text, what, low, high, info)
    except PydanticCustomError:
        return False
    return True


def _ends(raw: Any, what: str, low: int, high: int, info: ValidationInfo) -> tuple[int, int]:
    if not (isinstance(raw, str) and ".." in raw):
        only = _one(raw, what, low, high, info)
        return only, only
    first, _, last = raw.partition("..")
    bottom = _one(first.strip(), what, low, high, info) if first.strip() else low
    top = _one(last.strip(), what, low, high, info) if last.strip() else high
    return bottom, top


def read_range(raw: Any, what: str, low: int, high: int, info: ValidationInfo) -> tuple[int, int]:
    """Return the ends of a range as `read_ends` does. Raises an error where it is empty."""
    bottom, top = read_ends(raw, what, low, high, info)
    if bottom > top:
        raise fault(f"the range {shown(raw)} is empty: write the lower end first")
    return bottom, top


def _read_set(raw: Any, what: str, low: int, high: int, info: ValidationInfo) -> frozenset[int]:
    if isinstance(raw, frozenset):
        return raw
    items = raw if isinstance(raw, list) else [raw]
    if not items:
        raise fault(f"this list is empty: write {what}, a range or a list of them")
    found: set[int] = set()
    for item in items:
        bottom, top = read_range(item, what, low, high, info)
        found.update(range(bottom, top + 1))
    return frozenset(found)


def _read_set_or_none(raw: Any, info: ValidationInfo) -> frozenset[int]:
    return frozenset() if raw == [] else _read_set(raw, "a channel", 1, 16, info)


def _single(what: str, low: int, high: int) -> BeforeValidator:
    return BeforeValidator(lambda raw, info: _one(raw, what, low, high, info))


def _many(what: str, low: int, high: int) -> BeforeValidator:
    return BeforeValidator(lambda raw, info: _read_set(raw, what, low, high, info))


def _rising(what: str, low: int, high: int) -> BeforeValidator:
    def read(raw: Any, info: ValidationInfo) -> tuple[int, int]:
        return raw if isinstance(raw, tuple) else read_range(raw, what, low, high, info)

    return BeforeValidator(read)


def whole(what: str, low: int, high: int) -> BeforeValidator:
    """A whole number, never from text."""

    def read(raw: Any) -> Any:
        if isinstance(raw, bool) or not isinstance(raw, int) or not low <= raw <= high:
            raise fault(f"{shown(raw)} is not {what}: write a whole number from {low} to {high}")
        return raw

    return BeforeValidator(read)


def decimal(what: str, low: float, high: float) -> BeforeValidator:
    """A number that may have decimals, never from text."""

    def read(raw: Any) -> Any:
        if isinstance(raw, bool) or not isinstance(raw, int | float) or not low <= raw <= high:
            raise fault(f"{shown(raw)} is not {what}: write a number from {low} to {high}")
        return float(raw)

    return BeforeValidator(read)


Channel = Annotated[int, _single("a channel", 1, 16)]
Note = Annotated[int, _single("a note", 0, 127)]
Controller = Annotated[int, _single("a controller", 0, 127)]
Program = Annotated[int, _single("a program", 0, 127)]
Velocity = Annotated[int, whole("a velocity", 1, 127)]

Channels = Annotated[frozenset[int], _many("a channel", 1, 16)]
ChannelsOrNone = Annotated[frozenset[int], BeforeValidator(_read_set_or_none)]
Notes = Annotated[frozenset[int], _many("a note", 0, 127)]
Velocities = Annotated[frozenset[int], _many("a velocity", 1, 127)]
Controllers = Annotated[frozenset[int], _many("a controller", 0, 127)]
Programs = Annotated[frozenset[int], _many("a program", 0, 127)]

NoteRange = Annotated[tuple[int, int], _rising("a note", 0, 127)]
VelocityRange = Annotated[tuple[int, int], _rising("a velocity", 1, 127)]
NumberRange = Annotated[tuple[int, int], _rising("a number", -64, 64)]

MOST_SEMITONES: Final = 127
Semitones = Annotated[int, whole("a number of semitones", -MOST_SEMITONES, MOST_SEMITONES)]


_MOST_BEATS: Final = 1024
_BEATS: Final = re.compile(r"[0-9]{1,4}(\.[0-9]{1,6}|/[1-9][0-9]{0,3})?")


def _read_beats(raw: Any) -> Fraction:
    if isinstance(raw, Fraction):
        return raw
    is_number = isinstance(raw, int | float) and not isinstance(raw, bool) and 0 <= raw <= _MOST_BEATS
    if is_number or (isinstance(raw, str) and _BEATS.fullmatch(raw)):
        beats = Fraction(raw).limit_denominator(1_000_000)
        if beats <= _MOST_BEATS:
            return beats
    raise fault(
        f'{shown(raw)} is not a number of beats: write quarter notes from 0 to {_MOST_BEATS}, as in 0.5 or "1/3"'
    )


Beats = Annotated[Fraction, BeforeValidator(_read_beats)]

_NOTE_VALUE: Final = re.compile(r"1/(1|2|4|8|16|32|64)(\.|t)?")
_FACTORS: Final = {None: Fraction(1), ".": Fraction(3, 2), "t": Fraction(2, 3)}


def _read_note_value(raw: Any) -> Fraction:
    if isinstance(raw, Fraction):
        return raw
    match = _NOTE_VALUE.fullmatch(raw) if isinstance(raw, str) else None
    if match is None:
        raise fault(
            f'{shown(raw)} is not a note value: write "1/4" for a quarter note, "1/8." for a dotted eighth, or "1/4t" '
            "for a quarter of a triplet"
        )
    return Fraction(4, int(match[1])) * _FACTORS[match[2]]


NoteValue = Annotated[Fraction, BeforeValidator(_read_note_value)]
"""A note value in quarter notes: a whole note to a 64th, dotted, or one of a triplet (three in the time of two)."""


_MOST_MS: Final = 600_000


def _read_milliseconds(raw: Any) -> Fraction:
    if isinstance(raw, Fraction):
        return raw
    if isinstance(raw, int | float) and not isinstance(raw, bool) and 0 <= raw <= _MOST_MS:
        return Fraction(raw).limit_denominator(1_000_000)
    raise fault(f"{shown(raw)} is not a time: write milliseconds from 0 to {_MOST_MS}")


Milliseconds = Annotated[Fraction, BeforeValidator(_read_milliseconds)]
