"""The small values of a rule file - notes, ranges, controllers, messages - read into numbers.

Each type here is an annotation for a pydantic field. Notes and programs follow the `Naming` of their file, which the
reader passes as validation context. Sets of numbers come out as frozensets, channels as 1-16.
"""

from __future__ import annotations

import re
from collections.abc import Callable
from dataclasses import dataclass
from fractions import Fraction
from typing import Annotated, Any, Final, Literal

from pydantic import BaseModel, BeforeValidator, ConfigDict, ValidationInfo, ValidatorFunctionWrapHandler, WrapValidator
from pydantic_core import PydanticCustomError

from rules.errors import NotationError
from rules.midi.messages import STATUS_OF_KIND
from rules.midi.notation import (
    STANDARD,
    MessageText,
    Naming,
    format_note,
    parse_controller,
    parse_integer,
    parse_message,
    parse_note,
)

_LONGEST_SHOWN: Final = 60


class Part(BaseModel):
    """Base of every table in a rule file: unknown keys are errors, numbers are not taken from text, nothing changes."""

    model_config = ConfigDict(extra="forbid", strict=True, frozen=True, arbitrary_types_allowed=True)


def _once(raw: Any, handler: ValidatorFunctionWrapHandler) -> Any:
    read = handler(raw)
    if isinstance(raw, dict) and len(read) < len(raw):
        raise fault("two lines of this table name the same: write each once")
    return read


EachOnce = WrapValidator(_once)
"""For tables whose keys are numbers: `C#3` and `Db3` are one note, and two lines for it are a mistake."""


def naming_of(info: ValidationInfo) -> Naming:
    """The naming of the file being read; the standard one where no file is."""
    context = info.context
    return context if isinstance(context, Naming) else STANDARD


def fault(text: str) -> PydanticCustomError:
    """An error in our own words, for validators to raise."""
    return PydanticCustomError("rule", "{text}", {"text": text})


def shown(raw: Any) -> str:
    """A value as the rule file writes it, for errors; tables, lists and very long values in a word."""
    if isinstance(raw, bool):
        return "true" if raw else "false"
    if isinstance(raw, str):
        return f'"{raw}"' if len(raw) <= _LONGEST_SHOWN else f'"{raw[:_LONGEST_SHOWN]}..."'
    if isinstance(raw, int):
        return str(raw) if abs(raw) < 10**18 else "a huge number"
    if isinstance(raw, float):
        return str(raw)
    if isinstance(raw, dict):
        return "a table"
    return "a list" if isinstance(raw, list | tuple) else f"the date or time {raw}"


Reader = Callable[[str], int]


def _reader(what: str, low: int, high: int, info: ValidationInfo) -> Reader:
    """How one number of this sort is written in this file."""
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
        return _reader(what, low, high, info)(str(raw))
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


def read_ends(raw: Any, what: str, low: int, high: int, info: ValidationInfo) -> tuple[int, int]:
    """The ends of a range `"A..B"` as written (an end that is left open is `low` or `high`), or of a single number."""
    if not (isinstance(raw, str) and ".." in raw):
        only = _one(raw, what, low, high, info)
        return only, only
    first, _, last = raw.partition("..")
    bottom = _one(first.strip(), what, low, high, info) if first.strip() else low
    top = _one(last.strip(), what, low, high, info) if last.strip() else high
    return bottom, top


def read_range(raw: Any, what: str, low: int, high: int, info: ValidationInfo) -> tuple[int, int]:
    """The same for a range that must not be empty."""
    bottom, top = read_ends(raw, what, low, high, info)
    if bottom > top:
        raise fault(f"the range {shown(raw)} is empty: write the lower end first")
    return bottom, top


def _read_set(raw: Any, what: str, low: int, high: int, info: ValidationInfo) -> frozenset[int]:
    if isinstance(raw, frozenset):
        return raw
    items = raw if isinstance(raw, list) else [raw]
    if not items:
        raise fault(f"an empty list: write {what}, a range or a list of them")
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


def _text(what: str, example: str) -> BeforeValidator:
    """Text that says something, on one line."""

    def read(raw: Any) -> Any:
        if not isinstance(raw, str) or not raw.strip() or not raw.isprintable():
            raise fault(f"{shown(raw)} is not {what}: write text in quotes, on one line, such as {example}")
        return raw

    return BeforeValidator(read)


Title = Annotated[str, _text("a name", '"left hand"')]
"""The name of a rule or a test."""

Pattern = Annotated[str, _text("the name of a port", '"Step Box*"')]


def _read_pattern_or_true(raw: Any) -> Any:
    if raw is not True and not (isinstance(raw, str) and raw.strip() and raw.isprintable()):
        raise fault(f'{shown(raw)} is not the name of a port: write text in quotes such as "Step Box*", or true')
    return raw


PatternOrTrue = Annotated[str | Literal[True], BeforeValidator(_read_pattern_or_true)]


def _list_or_one(raw: Any) -> Any:
    return tuple(raw) if isinstance(raw, list | tuple) else (raw,)


OneOrMany = BeforeValidator(_list_or_one)
"""`x` and `[x]` mean the same; the field is a tuple."""

Reference = Annotated[str, _text("a name", '"organ"')]
"""The name of a port or device, wherever one is used."""

Names = Annotated[tuple[Reference, ...], OneOrMany]

_NAME: Final = re.compile(r"[^\W\d][\w-]*( [\w-]+)*")
_VALUE: Final = re.compile(r"[\w.+-]+( [\w.+-]+)*")
_JOINING: Final = frozenset({"and", "or", "not"})


def _read_name(raw: Any) -> Any:
    if not isinstance(raw, str) or not _NAME.fullmatch(raw) or not _JOINING.isdisjoint(raw.split()) or raw == "none":
        raise fault(
            f"{shown(raw)} can't be a name: write letters, digits, - and _, a letter first; no and, or, not, none"
        )
    return raw


Name = Annotated[str, BeforeValidator(_read_name)]


def _read_switch_value(raw: Any) -> Any:
    if not isinstance(raw, str) or not _VALUE.fullmatch(raw) or not _JOINING.isdisjoint(raw.split()):
        raise fault(
            f"{shown(raw)} can't be a value: write words in quotes, of letters, digits, . + - and _; no and, or, not"
        )
    return raw


SwitchValue = Annotated[str, BeforeValidator(_read_switch_value)]


def _read_state(raw: Any) -> Any:
    if not isinstance(raw, bool | int | str):
        raise fault(f'{shown(raw)} is no state of a switch: write true or false, a number or a value such as "chorus"')
    return raw


SwitchState = Annotated[bool | int | str, BeforeValidator(_read_state)]


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


_MOST_BEATS: Final = 1024
_BEATS: Final = re.compile(r"[0-9]{1,4}(\.[0-9]{1,6}|/[1-9][0-9]{0,3})?")
Beats = Annotated[Fraction, BeforeValidator(_read_beats)]


def _read_milliseconds(raw: Any) -> Fraction:
    if isinstance(raw, Fraction):
        return raw
    if isinstance(raw, int | float) and not isinstance(raw, bool) and 0 <= raw <= _MOST_MS:
        return Fraction(raw).limit_denominator(1_000_000)
    raise fault(f"{shown(raw)} is not a time: write milliseconds from 0 to {_MOST_MS}")


_MOST_MS: Final = 600_000
Milliseconds = Annotated[Fraction, BeforeValidator(_read_milliseconds)]


def _read_message(raw: Any, info: ValidationInfo) -> MessageText:
    if isinstance(raw, MessageText):
        return raw
    if not isinstance(raw, str):
        raise fault(f'{shown(raw)} is not a message: write one such as "note-on 4 C4 100"')
    try:
        return parse_message(raw, naming_of(info))
    except NotationError as error:
        raise fault(str(error)) from None


Message = Annotated[MessageText, BeforeValidator(_read_message)]
Messages = Annotated[tuple[Message, ...], OneOrMany]


@dataclass(frozen=True, slots=True)
class TimedMessage:
    """A message of a test: `at 12 ms from pads note-on 4 C4 100`; `ms` is None where no time and `source` where no
    port was written."""

    message: MessageText
    ms: Fraction | None = None
    source: str | None = None


_TIME: Final = re.compile(r"at\s+([0-9]{1,7}(?:\.[0-9]{1,6})?)\s*ms\s+")
_BYTE: Final = re.compile(r"[0-9A-Fa-f]{2}")


def _read_timed(raw: Any, info: ValidationInfo) -> Any:
    if isinstance(raw, TimedMessage):
        return raw
    if not isinstance(raw, str):
        raise fault(
            f'{shown(raw)} is not a message: write one such as "note-on 4 C4 100" or "at 12 ms note-on 4 C4 100"'
        )
    text = raw.strip()
    ms = None
    if (match := _TIME.match(text)) is not None:
        ms = Fraction(match[1])
        text = text[match.end() :]
    elif text.startswith("at "):
        raise fault(f'"{raw}": a time is written as in "at 12 ms note-on 4 C4 100"')
    source, text = _split_source(text)
    return TimedMessage(_read_message(text, info), ms, source)


def _split_source(text: str) -> tuple[str | None, str]:
    """`from NAME MESSAGE` in two; the name goes up to the first word that a message can begin with."""
    words = text.split()
    if words[:1] != ["from"]:
        return None, text
    for at, word in enumerate(words[2:], start=2):
        if word.lower() in STATUS_OF_KIND or _BYTE.fullmatch(word):
            return " ".join(words[1:at]), " ".join(words[at:])
    raise fault(f'"{text}": after `from` come a port and a message, as in "from pads note-on 10 C1 100"')


TimedMessages = Annotated[tuple[Annotated[TimedMessage, BeforeValidator(_read_timed)], ...], OneOrMany]
