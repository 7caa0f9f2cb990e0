"""No word of the validator's own reaches a musician, whatever stands in the place of a value."""

from __future__ import annotations

import datetime
import tomllib
from collections.abc import Iterator
from pathlib import Path
from typing import Any, Final

import pytest
from pydantic import ValidationError

from rules.errors import Problem
from rules.fields.table_model import TableModel
from rules.midi.notation import Naming
from rules.rulefile.error_texts import WORDINGS, allowed_keys, problems_in
from rules.rulefile.locations import SourceFile
from rules.rulefile.positions import Path as KeyPath
from rules.rulefile.schema import RuleFile
from rules.steps.registry import all_steps

EVERYTHING: Final = tomllib.loads((Path(__file__).parent / "everything.toml").read_text("utf-8"))
EVERYTHING_OF_SONGS: Final = tomllib.loads((Path(__file__).parent / "everything_of_songs.toml").read_text("utf-8"))
ODD_VALUES: Final[tuple[Any, ...]] = (
    True,
    -1,
    10**30,
    1.5,
    float("nan"),
    float("inf"),
    "",
    "odd",
    "\x00\n",
    "9..1",
    "C3..",
    datetime.date(1979, 5, 27),
    datetime.time(7, 32),
    [],
    ["odd"],
    [[1]],
    [{}],
    {},
    {"odd": 1},
    {"1": {}},
    {str(number): number for number in range(200)},
    list(range(200)),
)
FOREIGN: Final = ("Input", "input string", "pydantic", "http", "instance", "None", "True", "False", "Step(", "datetime")


def paths_in(value: Any, path: KeyPath = ()) -> Iterator[KeyPath]:
    """Every path of a document but the root."""
    members: Any = ()
    if isinstance(value, dict):
        members = value.items()
    elif isinstance(value, list):
        members = enumerate(value)
    for key, member in members:
        yield (*path, key)
        yield from paths_in(member, (*path, key))


def put(document: Any, path: KeyPath, value: Any) -> Any:
    """A document with another value at a path; of long lists on the way only the part that is needed."""
    if not path:
        return value
    first, *rest = path
    inside = put(document[first], tuple(rest), value)
    if isinstance(document, list):
        return [inside]
    short = {key: other[:2] if isinstance(other, list) else other for key, other in document.items()}
    return {**short, first: inside}


def mistakes() -> Iterator[tuple[dict[str, Any], ValidationError]]:
    """The documents with every key, with one value at a time replaced by an odd one or left away."""
    everywhere = [(tables, path) for tables in (EVERYTHING, EVERYTHING_OF_SONGS) for path in paths_in(tables)]
    for tables, path in everywhere:
        alone = {str(path[0]): tables[str(path[0])]}
        for odd in ODD_VALUES:
            changed = put(alone, path, odd)
            try:
                RuleFile.model_validate(changed, context=Naming(3, 0))
            except ValidationError as error:
                yield changed, error


@pytest.fixture(scope="module")
def told() -> list[tuple[str, Problem]]:
    """Every type of error that mistakes bring about, each with what is said about it."""
    found = {}
    for changed, error in mistakes():
        source = SourceFile("rules.toml", "", changed)
        problems = list(problems_in(error, source, 0))
        for detail, problem in zip(error.errors(), problems, strict=False):
            found[(detail["type"], problem.text)] = problem
    return [(kind, problem) for (kind, _), problem in found.items()]


def test_every_error_has_words(told: list[tuple[str, Problem]]) -> None:
    """Every type of error that the models raise has words of our own."""
    kinds = {kind for kind, _ in told}
    assert kinds <= {*WORDINGS, "missing", "extra_forbidden"}
    assert {"missing", "extra_forbidden", "rule", "literal_error", "bool_type", "model_type"} <= kinds


def test_no_foreign_words(told: list[tuple[str, Problem]]) -> None:
    """No text speaks of inputs, classes, instances or web pages, and each is one line of moderate length."""
    for _, problem in told:
        text = problem.text
        assert text
        assert text.isprintable()
        assert len(text) < 1000
        assert not [foreign for foreign in FOREIGN if foreign in text]


def parts(model: type[TableModel] = TableModel) -> Iterator[type[TableModel]]:
    """Every table of the rule file that stands in one."""
    all_steps()
    for table in model.__subclasses__():
        if not table.__subclasses__() or table.__name__ in ("Condition", "Trigger"):
            yield table
        yield from parts(table)


@pytest.mark.parametrize(
    ("path", "keys"),
    [
        ((), ["middle_c", "first_program", "clock", "ports", "devices", "switches", "rules", "on_switch"]),
        (("devices", "port"), ["port", "channel", "channels", "notes", "outside", "setup", "steps", "returns"]),
        (("switches", "x", "a switch of numbers"), ["numbers", "initial", "set", "advance"]),
        (("rules", 0, "steps", 3, "thin"), ["ms"]),
        (("rules", 0, "zones", 1, "steps", 0, "filter", "keep", 0), ["kind", "channel", "notes", "velocity"]),
        (("ports", "steps", "steps", 0, "delay"), ["ms", "beats"]),
        (("tests", 0), ["name", "from", "play", "expect", "switches"]),
    ],
)
def test_allowed_keys(path: KeyPath, keys: list[str]) -> None:
    """What is allowed in a table is known from its place, even if a port has the name of a key."""
    assert allowed_keys(path)[: len(keys)] == keys


def test_the_file_with_everything_has_everything() -> None:
    """Each key that a table may have stands in the file that these tests work on, so that none goes untested."""
    written = {path[-1] for tables in (EVERYTHING, EVERYTHING_OF_SONGS) for path in paths_in(tables)}
    for table in parts():
        if table.__name__ != "Outlet":
            keys = {field.alias or name for name, field in table.model_fields.items()}
            assert keys <= written, table
