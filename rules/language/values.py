"""The small values of a rule file - notes, ranges, controllers, messages - read into numbers.

Each type here is an annotation for a pydantic field. Notes and programs follow the `Naming` of their file, which the
reader passes as validation context. Sets of numbers come out as frozensets, channels as 1-16.
"""

from __future__ import annotations

import re
from collections.abc import Callable
from dataclasses import dataclass
from fractions import Fraction
from typing import Annotated, Any, Final

from pydantic import BaseModel, BeforeValidator, ConfigDict, ValidationInfo
from pydantic_core import PydanticCustomError

from rules.errors import NotationError
from rules.messages import BEND_CENTRE
from rules.notation import (
    STANDARD,
    MessageText,
    Naming,
    format_note,
    parse_controller,
    parse_integer,
    parse_message,
    parse_note,
)


class Part(BaseModel):
    """Base of every table in a rule file: unknown keys are errors, numbers are not taken from text, nothing changes."""

    model_config = ConfigDict(extra="forbid", strict=True, frozen=True, arbitrary_types_allowed=True)


def naming_of(info: ValidationInfo) -> Naming:
    """The naming of the file being read; the standard one where no file is."""
    context = info.context
    return context if isinstance(context, Naming) else STANDARD


def fault(text: str) -> PydanticCustomError:
    """An error in our own words, for validators to raise."""
    return PydanticCustomError("rule", "{text}", {"text": text})


Word = Callable[[str], int]


def _reader(what: str, low: int, high: int, info: ValidationInfo) -> tuple[Word, int, int]:
    """How one number of this sort is written in this file, and the lowest and highest written number."""
    naming = naming_of(info)
    if what == "a note":
        return (lambda text: parse_note(text, naming)), low, high
    if what == "a controller":
        return parse_controller, low, high
    if what == "a program":
        first = naming.first_program
        return (lambda text: parse_integer(text, first, first + 127, what) - first), low, high
    return (lambda text: parse_integer(text, low, high, what)), low, high


def _one(raw: Any, what: str, low: int, high: int, info: ValidationInfo) -> int:
    if isinstance(raw, bool) or not isinstance(raw, int | str):
        raise fault(f"{raw!r} is not {what}: write {_allowed(what, low, high, info)}")
    try:
        return _reader(what, low, high, info)[0](str(raw))
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


def _bounds(raw: Any, what: str, low: int, high: int, info: ValidationInfo) -> tuple[int, int]:
    """The ends of a range `"A..B"` (either end may be missing), or of a single number."""
    if not (isinstance(raw, str) and ".." in raw):
        only = _one(raw, what, low, high, info)
        return only, only
    first, _, last = raw.partition("..")
    bottom = _one(first.strip(), what, low, high, info) if first.strip() else low
    top = _one(last.strip(), what, low, high, info) if last.strip() else high
    return bottom, top


def _set(raw: Any, what: str, low: int, high: int, info: ValidationInfo) -> frozenset[int]:
    if isinstance(raw, frozenset):
        return raw
    items = raw if isinstance(raw, list) else [raw]
    if not items:
        raise fault(f"an empty list: write {what}, a range or a list of them")
    found: set[int] = set()
    for item in items:
        bottom, top = _bounds(item, what, low, high, info)
        if bottom > top:
            raise fault(f'the range "{item}" is empty: write the lower end first')
        found.update(range(bottom, top + 1))
    return frozenset(found)


def _single(what: str, low: int, high: int) -> BeforeValidator:
    return BeforeValidator(lambda raw, info: _one(raw, what, low, high, info))


def _many(what: str, low: int, high: int) -> BeforeValidator:
    return BeforeValidator(lambda raw, info: _set(raw, what, low, high, info))


def _span(what: str, low: int, high: int) -> BeforeValidator:
    """A range whose order is kept: the ends of a scale, which may run downwards."""

    def read(raw: Any, info: ValidationInfo) -> tuple[int, int]:
        return raw if isinstance(raw, tuple) else _bounds(raw, what, low, high, info)

    return BeforeValidator(read)


def _rising(what: str, low: int, high: int) -> BeforeValidator:
    def read(raw: Any, info: ValidationInfo) -> tuple[int, int]:
        bottom, top = raw if isinstance(raw, tuple) else _bounds(raw, what, low, high, info)
        if bottom > top:
            raise fault(f'the range "{raw}" is empty: write the lower end first')
        return bottom, top

    return BeforeValidator(read)


Channel = Annotated[int, _single("a channel", 1, 16)]
Note = Annotated[int, _single("a note", 0, 127)]
Controller = Annotated[int, _single("a controller", 0, 127)]
Program = Annotated[int, _single("a program", 0, 127)]
Velocity = Annotated[int, _single("a velocity", 1, 127)]

Channels = Annotated[frozenset[int], _many("a channel", 1, 16)]
Notes = Annotated[frozenset[int], _many("a note", 0, 127)]
Velocities = Annotated[frozenset[int], _many("a velocity", 1, 127)]
Controllers = Annotated[frozenset[int], _many("a controller", 0, 127)]
Programs = Annotated[frozenset[int], _many("a program", 0, 127)]

NoteRange = Annotated[tuple[int, int], _rising("a note", 0, 127)]
VelocityRange = Annotated[tuple[int, int], _rising("a velocity", 1, 127)]
ValueSpan = Annotated[tuple[int, int], _span("a value", -BEND_CENTRE, 16383)]
ValueRange = Annotated[tuple[int, int], _rising("a value", -BEND_CENTRE, 16383)]
NumberRange = Annotated[tuple[int, int], _rising("a number", -64, 64)]


def _read_message(raw: Any, info: ValidationInfo) -> MessageText:
    if isinstance(raw, MessageText):
        return raw
    if not isinstance(raw, str):
        raise fault(f'{raw!r} is not a message: write one such as "note-on 4 C4 100"')
    try:
        return parse_message(raw, naming_of(info))
    except NotationError as error:
        raise fault(str(error)) from None


Message = Annotated[MessageText, BeforeValidator(_read_message)]


def _list_or_one(raw: Any) -> Any:
    return tuple(raw) if isinstance(raw, list | tuple) else (raw,)


OneOrMany = BeforeValidator(_list_or_one)
"""`x` and `[x]` mean the same; the field is a tuple."""

Messages = Annotated[tuple[Message, ...], OneOrMany]
Names = Annotated[tuple[str, ...], OneOrMany]

_NAME = re.compile(r"[^\W\d][\w-]*( [\w-]+)*")


def _read_name(raw: Any) -> Any:
    if not isinstance(raw, str) or not _NAME.fullmatch(raw) or raw in ("and", "or", "not", "none"):
        raise fault(f"{raw!r} can't be a name: write letters, digits, - and _, a letter first; not and, or, not, none")
    return raw


Name = Annotated[str, BeforeValidator(_read_name)]


@dataclass(frozen=True, slots=True)
class TimedMessage:
    """A message of a test: `at 12 ms from pads note-on 4 C4 100`; `ms` is None where no time and `source` where no
    port was written."""

    message: MessageText
    ms: Fraction | None = None
    source: str | None = None


_TIMED = re.compile(r"(?:at\s+(\d+(?:\.\d+)?)\s*ms\s+)?(?:from\s+([\w-]+)\s+)?(.*)")


def _read_timed(raw: Any, info: ValidationInfo) -> Any:
    if isinstance(raw, TimedMessage):
        return raw
    if not isinstance(raw, str):
        raise fault(f'{raw!r} is not a message: write one such as "note-on 4 C4 100" or "at 12 ms note-on 4 C4 100"')
    match = _TIMED.fullmatch(raw.strip())
    assert match is not None
    ms = Fraction(match[1]) if match[1] is not None else None
    return TimedMessage(_read_message(match[3], info), ms, match[2])


TimedMessages = Annotated[tuple[Annotated[TimedMessage, BeforeValidator(_read_timed)], ...], OneOrMany]


def _read_beats(raw: Any) -> Fraction:
    if isinstance(raw, Fraction):
        return raw
    try:
        if isinstance(raw, str | int | float) and not isinstance(raw, bool):
            beats = Fraction(raw).limit_denominator(1_000_000)
            if 0 <= beats <= 1024:
                return beats
    except (ValueError, ZeroDivisionError, OverflowError):
        pass
    raise fault(f'{raw!r} is not a number of beats: write quarter notes from 0 to 1024, such as 0.5 or "1/3"')


Beats = Annotated[Fraction, BeforeValidator(_read_beats)]


def _read_milliseconds(raw: Any) -> Fraction:
    if isinstance(raw, Fraction):
        return raw
    if isinstance(raw, int | float) and not isinstance(raw, bool) and 0 <= raw <= 600_000:
        return Fraction(raw).limit_denominator(1_000_000)
    raise fault(f"{raw!r} is not a time: write milliseconds from 0 to 600000")


Milliseconds = Annotated[Fraction, BeforeValidator(_read_milliseconds)]

MOST_SEMITONES: Final = 127
