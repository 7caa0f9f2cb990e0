"""The base of every table in a rule file, and what its validators share."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any, Final

from pydantic import (
    BaseModel,
    BeforeValidator,
    ConfigDict,
    GetCoreSchemaHandler,
    ValidationInfo,
    ValidatorFunctionWrapHandler,
    WrapValidator,
)
from pydantic_core import CoreSchema, PydanticCustomError, core_schema

from rules.midi.notation import STANDARD, Naming

_LONGEST_SHOWN: Final = 60


class TableModel(BaseModel):
    """Base of every table in a rule file: unknown keys are errors, numbers are not taken from text, nothing changes.

    What pydantic needs to read a table is built when the first one is read: for all tables that takes as long as all
    the rest of `check`.
    """

    model_config = ConfigDict(extra="forbid", strict=True, frozen=True, arbitrary_types_allowed=True, defer_build=True)


class BuiltWhenNeeded:
    """Annotates a place for a table inside another one, which is built without it. `table` says which one it is."""

    def __init__(self, table: Callable[[], type[TableModel]]) -> None:
        self.table = table

    def __get_pydantic_core_schema__(self, kind: Any, handler: GetCoreSchemaHandler) -> CoreSchema:
        return core_schema.with_info_plain_validator_function(self._read)

    def _read(self, raw: Any, info: ValidationInfo) -> TableModel:
        return self.table().model_validate(raw, context=info.context)


def _once(raw: Any, handler: ValidatorFunctionWrapHandler) -> Any:
    read = handler(raw)
    if isinstance(raw, dict) and len(read) < len(raw):
        raise fault("two lines of this table are about the same number: write each once")
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


def _list_or_one(raw: Any) -> Any:
    return tuple(raw) if isinstance(raw, list | tuple) else (raw,)


OneOrMany = BeforeValidator(_list_or_one)
"""`x` and `[x]` mean the same; the field is a tuple."""
