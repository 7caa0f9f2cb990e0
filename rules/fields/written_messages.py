"""Messages as a rule file writes them: `note-on 4 C4 100`, in tests with a time and a port."""

from __future__ import annotations

import re
from dataclasses import dataclass
from fractions import Fraction
from typing import Annotated, Any, Final

from pydantic import AfterValidator, BeforeValidator, ValidationInfo

from rules.errors import NotationError
from rules.fields.table_model import OneOrMany, fault, naming_of, shown
from rules.midi.kind_names import kind_named
from rules.midi.message_times import split_time, times_in_order
from rules.midi.messages import STATUS_OF_KIND
from rules.midi.notation import MessageText, Naming, parse_message
from rules.timing.delays import AT_ONCE, Delay


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


_BYTE: Final = re.compile(r"[0-9A-Fa-f]{2}")


def _read_timed(raw: Any, info: ValidationInfo) -> Any:
    if isinstance(raw, TimedMessage):
        return raw
    ms, text = _split_time(raw)
    source, text = _split_source(text)
    return TimedMessage(_read_message(text, info), ms, source)


def _split_time(raw: Any) -> tuple[Fraction | None, str]:
    """`at 12 ms MESSAGE` in two; None where no time is written."""
    if not isinstance(raw, str):
        raise fault(
            f'{shown(raw)} is not a message: write one such as "note-on 4 C4 100" or "at 12 ms note-on 4 C4 100"'
        )
    try:
        return split_time(raw)
    except NotationError as error:
        raise fault(str(error)) from None


def _split_source(text: str) -> tuple[str | None, str]:
    """`from NAME MESSAGE` in two; the name goes up to the first word that a message can begin with."""
    words = text.split()
    if words[:1] != ["from"]:
        return None, text
    for at, word in enumerate(words[2:], start=2):
        if kind_named(word.lower()) in STATUS_OF_KIND or _BYTE.fullmatch(word):
            return " ".join(words[1:at]), " ".join(words[at:])
    raise fault(f'"{text}": after `from` come a port and a message, as in "from pads note-on 10 C1 100"')


TimedMessages = Annotated[tuple[Annotated[TimedMessage, BeforeValidator(_read_timed)], ...], OneOrMany]


@dataclass(frozen=True, slots=True)
class DelayedMessage:
    """A message of a list that is sent: `after` says how long after
    the list begins. Written without a time, it follows the one before."""

    message: MessageText
    after: Delay = AT_ONCE

    def words(self, naming: Naming) -> str:
        """The message in words, with its time."""
        words = self.message.words(naming)
        return f"at {float(self.after.ms):g} ms {words}" if self.after.ms else words


_FOLLOWS: Final = Delay(Fraction(-1))
"""No time is written."""


def _read_delayed(raw: Any, info: ValidationInfo) -> Any:
    if isinstance(raw, DelayedMessage):
        return raw
    if isinstance(raw, MessageText):
        return DelayedMessage(raw, _FOLLOWS)
    ms, text = _split_time(raw)
    after = _FOLLOWS if ms is None else Delay(ms) if ms else AT_ONCE
    return DelayedMessage(_read_message(text, info), after)


def _in_order(messages: tuple[DelayedMessage, ...]) -> tuple[DelayedMessage, ...]:
    """The messages, each with its time. Times never go back."""
    try:
        times = times_in_order(None if each.after is _FOLLOWS else each.after.ms for each in messages)
    except NotationError as error:
        raise fault(str(error)) from None
    return tuple(
        DelayedMessage(each.message, Delay(ms) if ms else AT_ONCE) for each, ms in zip(messages, times, strict=True)
    )


DelayedMessages = Annotated[
    tuple[Annotated[DelayedMessage, BeforeValidator(_read_delayed)], ...], AfterValidator(_in_order), OneOrMany
]
"""Messages that are sent, with pauses: `["program 4", "at 200 ms controller volume 100"]`."""
