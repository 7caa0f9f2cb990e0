"""What pydantic found wrong in a table, in our own words.

A misspelt key is one mistake, though it is found twice: as a key that is unknown and as one that is missing.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Iterator, Mapping, Sequence
from typing import Annotated, Any, Final, get_args, get_origin

from pydantic import Tag, ValidationError
from pydantic_core import ErrorDetails

from rules.errors import Problem
from rules.fields.table_model import BuiltWhenNeeded, TableModel, shown
from rules.midi.suggestions import did_you_mean, near_word, nearest
from rules.rulefile.locations import SourceFile
from rules.rulefile.other_words import key_meant, value_meant, wrapped
from rules.rulefile.positions import Path
from rules.rulefile.schema import RuleFile
from rules.steps.registry import STEP_KEYS

_IS_MISSING: Final = {
    "from": "name the port that messages come from",
    "to": "write what it becomes",
    "port": "name the port that the device is connected to",
    "name": "give it a name",
    "send": "write the messages to send",
    "play": "write the messages that arrive",
    "expect": "write what must come out of which device, or `expect = {}` if everything must stay silent",
    "when": 'write the condition that turns true, such as "song = chorus"',
    "value": "write the value that it sets",
    "by": "write by how much",
    "ms": "write milliseconds",
    "messages": "write the messages to send",
}

Wording = Callable[[Any, Mapping[str, Any]], str]


def _literal(raw: Any, context: Mapping[str, Any]) -> str:
    expected = str(context["expected"])
    known = re.findall(r"'([^']*)'", expected)
    allowed = ", ".join(f'"{word}"' for word in known) or expected.replace(" or ", ", ")
    meant = value_meant(str(raw), known)
    hint = did_you_mean(meant) if meant is not None else nearest(str(raw), known)
    return f"{shown(raw)} is not allowed here: allowed are {allowed}{hint}"


def _says(text: str) -> Wording:
    return lambda raw, _: f"{shown(raw)} {text}"


def _short(raw: Any, context: Mapping[str, Any]) -> str:
    return f"write at least {context['min_length']} here: this has {context['actual_length']}"


def _long(raw: Any, context: Mapping[str, Any]) -> str:
    return f"there are too many here: write at most {context['max_length']}"


WORDINGS: Final[Mapping[str, Wording]] = {
    "rule": lambda _, context: str(context["text"]),
    "literal_error": _literal,
    "string_type": _says("is not text: write it in quotes"),
    "int_type": _says("is not a whole number"),
    "int_parsing_size": _says("is not allowed here"),
    "float_type": _says("is not a number"),
    "finite_number": _says("is not a number here: write one with digits"),
    "bool_type": _says("is neither true nor false: write one of them, without quotes"),
    "tuple_type": _says("is not a list: write it as [ ... ]"),
    "list_type": _says("is not a list: write it as [ ... ]"),
    "dict_type": _says("is not a table: write it as { setting = value }"),
    "model_type": _says("is not a table: write it as { setting = value }"),
    "frozen_set_type": _says("is not a list: write it as [ ... ]"),
    "too_short": _short,
    "too_long": _long,
}
"""Every type of error that the rule file's models can raise, but for unknown and missing keys."""


def problems_in(error: ValidationError, source: SourceFile, shift: int) -> Iterator[Problem]:
    """The problems that one validation found, in the order of pydantic.

    `shift` is the number of the validated table in its section: tables are validated one at a time, each as the first.
    """
    details = [(_shifted(detail["loc"], shift), detail) for detail in error.errors(include_url=False)]
    unknown = [path for path, detail in details if detail["type"] == "extra_forbidden"]
    missing = [path for path, detail in details if detail["type"] == "missing"]
    misspelt = dict(_pairs(unknown, missing))
    paired = set(misspelt.values())
    for path, detail in details:
        if detail["type"] == "extra_forbidden":
            yield source.problem(path, _unknown(path, misspelt.get(path)), about=path[:-1])
        elif detail["type"] != "missing":
            yield source.problem(path, _worded(detail))
        elif path not in paired:
            key = str(path[-1])
            yield source.problem(path, f"`{key}` is missing: {_IS_MISSING.get(key, 'it is needed here')}")


def _shifted(path: tuple[int | str, ...], shift: int) -> Path:
    return (path[0], shift, *path[2:]) if len(path) > 1 and path[1] == 0 else path


def _worded(detail: ErrorDetails) -> str:
    wording = WORDINGS.get(detail["type"])
    if wording is not None:
        return wording(detail["input"], detail.get("ctx", {}))
    return f"{shown(detail['input'])} can't be here: {detail['msg'].removeprefix('Input ')}"


def _pairs(unknown: list[Path], missing: list[Path]) -> Iterator[tuple[Path, Path]]:
    """Unknown keys and the missing keys of the same table that they are misspellings of, or other words for."""
    left: dict[Path, dict[str, Path]] = {}
    for path in missing:
        left.setdefault(path[:-1], {})[str(path[-1])] = path
    for path in unknown:
        missing_here = left.get(path[:-1], {})
        near = key_meant(str(path[-1]), missing_here) or near_word(str(path[-1]), missing_here)
        if near:
            yield path, missing_here.pop(near)


def _unknown(path: Path, meant: Path | None) -> str:
    key = str(path[-1])
    known = allowed_keys(path[:-1])
    hint = _hint(key, known) if meant is None else did_you_mean(str(meant[-1]))
    if set(STEP_KEYS).issubset(known):
        steps = ", ".join(step for step in known if step in STEP_KEYS)
        return f'unknown step "{key}": the steps are {steps}; `when` may be next to one{hint}'
    return f'unknown setting "{key}": allowed here are {", ".join(known)}{hint}'


def _hint(key: str, known: Sequence[str]) -> str:
    """Return what an unknown setting may mean: one that belongs deeper inside, another word, or a misspelt one."""
    if key in ("bpm", "tempo") and "rules" in known:
        return " - did you mean `bpm` below the header [clock]?"
    if key == "zones" and "rules" in known:
        return " - did you mean the header [[rules.zones]], below that of its rule?"
    if forms := wrapped(key, known):
        return f" - did you mean {' or '.join(f'`{form}`' for form in forms)}?"
    meant = key_meant(key, known)
    return did_you_mean(meant) if meant is not None else nearest(key, known)


def allowed_keys(path: Path) -> list[str]:
    """The keys that the table at a path of pydantic's may have, in the order of the documentation."""
    tables: list[tuple[str | None, type[TableModel]]] = [(None, RuleFile)]
    in_dict = False
    for part in path:
        found = [
            field for _, table in tables for name, field in table.model_fields.items() if part in (name, field.alias)
        ]
        tagged = [(None, table) for tag, table in tables if tag == part and tag is not None]
        if in_dict:
            in_dict = False
        elif tagged:
            tables = list(tagged)
        elif found:
            tables = list(_tables_in(found[0].annotation))
            in_dict = get_origin(found[0].annotation) is dict
    return list(dict.fromkeys(field.alias or name for _, table in tables for name, field in table.model_fields.items()))


def _tables_in(annotation: Any) -> Iterator[tuple[str | None, type[TableModel]]]:
    """The models in an annotation, each with its tag in a union that is told apart by tags."""
    if isinstance(annotation, type) and issubclass(annotation, TableModel):
        yield None, annotation
        return
    tag = None
    if get_origin(annotation) is Annotated:
        if later := [note.table() for note in annotation.__metadata__ if isinstance(note, BuiltWhenNeeded)]:
            yield from ((None, table) for table in later)
            return
        tag = next((note.tag for note in annotation.__metadata__ if isinstance(note, Tag)), None)
    for argument in get_args(annotation):
        for inner, table in _tables_in(argument):
            yield inner or tag, table
