"""Names of a rule file: of rules, ports, devices and switch values, and the patterns of port names."""

from __future__ import annotations

import re
from typing import Annotated, Any, Final, Literal

from pydantic import BeforeValidator

from rules.fields.table_model import OneOrMany, fault, shown


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

Reference = Annotated[str, _text("a name", '"organ"')]
"""The name of a port or device, wherever one is used."""

Names = Annotated[tuple[Reference, ...], OneOrMany]

_NAME: Final = re.compile(r"[^\W\d][\w-]*( [\w-]+)*")

_JOINING: Final = frozenset({"and", "or", "not"})


def _read_name(raw: Any) -> Any:
    if not isinstance(raw, str) or not _NAME.fullmatch(raw):
        raise fault(f"{shown(raw)} can't be a name: write a letter, then letters, digits, single spaces, - and _")
    if raw in ("none", "own") or not _JOINING.isdisjoint(raw.split()):
        raise fault(f"{shown(raw)} can't be a name: the words and, or, not, none and own mean something else here")
    return raw


Name = Annotated[str, BeforeValidator(_read_name)]


def _value(what: str, example: str) -> BeforeValidator:
    """Text that a condition on switches can ask for."""

    def read(raw: Any) -> Any:
        if not isinstance(raw, str) or not raw.strip() or not raw.isprintable() or raw != raw.strip():
            raise fault(f"{shown(raw)} can't be {what}: write text in quotes, on one line, such as {example}")
        if '"' in raw and "'" in raw:
            raise fault(f"{shown(raw)} can't be {what}: use only one kind of quotes in it")
        return raw

    return BeforeValidator(read)


SwitchValue = Annotated[str, _value("a value", '"chorus"')]

SongName = Annotated[str, _value("the name of a song", '"Harbour Lights"')]


def _read_state(raw: Any) -> Any:
    if not isinstance(raw, bool | int | str):
        raise fault(
            f'{shown(raw)} isn\'t a state of a switch: write true or false, a number or a value such as "chorus"'
        )
    return raw


SwitchState = Annotated[bool | int | str, BeforeValidator(_read_state)]
