#!/usr/bin/env python3
"""Writes into README.md and the manual what the program says: tables of settings, and the output of commands.

A page has a place for each table, between <!-- settings: CLASS --> and <!-- end -->. A row is about one setting: what
it does, its default and an example, as the field of the class describes it in the schema: Field(..., description="...",
examples=["..."]). Where its default is no text, number or boolean, or where it means something by itself,
json_schema_extra={"default": "..."} says so in words.

Below a command in a block of the language `console` is what it prints, run next to the examples and to the files that
the pages ask their readers to save. Look at what has changed before you commit it: the tests only see that it is true.
"""

from __future__ import annotations

import os
import re
import sys
import tempfile
from collections.abc import Iterator
from pathlib import Path
from textwrap import indent
from typing import Any

sys.path.insert(0, str(Path(__file__).resolve().parents[2]))

from pydantic.fields import FieldInfo

from rules.fields.table_model import TableModel
from rules.rulefile import schema  # noqa: F401  # with it come all tables that a rule file can have, but for steps
from rules.steps.registry import all_steps
from tests.support.pages import PROJECT, printed, save_everything, timeless

HEAD = ["| setting | what it does | default | example |", "|---|---|---|---|"]
PLACE = re.compile(r"(<!-- settings: (\w+) -->\n)(.*?)(<!-- end -->)", re.DOTALL)
SESSION = re.compile(
    r"^(?P<indent> *)```console\n *\$ (?P<command>.*)\n(?P<shown>(?:.*\n)*?)(?P=indent)```$", re.MULTILINE
)


def parts(base: type[TableModel] = TableModel) -> Iterator[type[TableModel]]:
    """Every kind of table, those that inherit behind those that they inherit from."""
    all_steps()
    for part in base.__subclasses__():
        yield part
        yield from parts(part)


def table(part: type[TableModel]) -> list[str]:
    """The lines of a table: the settings that this class has and its base hasn't."""
    inherited = getattr(part.__bases__[0], "model_fields", {})
    own = {name: field for name, field in part.model_fields.items() if name not in inherited}
    return [*HEAD, *(row(field.alias or name, field) for name, field in own.items())]


def row(name: str, field: FieldInfo) -> str:
    """One setting. What a field doesn't say is left open, and a test finds it."""
    (example,) = field.examples or ("",)
    cells = (f"`{name}`", field.description or "", default(field), f"`{example}`" if example else "")
    return f"| {' | '.join(cell.replace('|', chr(92) + '|') for cell in cells)} |"


def default(field: FieldInfo) -> str:
    """A default as rule files write it, or in words."""
    if isinstance(field.json_schema_extra, dict) and "default" in field.json_schema_extra:
        return str(field.json_schema_extra["default"])
    if field.is_required():
        return "required"
    return written(field.get_default(call_default_factory=True))


def written(value: Any) -> str:
    match value:
        case bool():
            return "`true`" if value else "`false`"
        case str():
            return f'`"{value}"`'
        case None | () | {} | frozenset():
            return "none"
    return f"`{value}`"


def with_tables(text: str, known: dict[str, type[TableModel]]) -> str:
    """A page with its tables made anew."""
    return PLACE.sub(lambda place: place[1] + "\n".join([*table(known[place[2]]), place[4]]), text)


def with_output(session: re.Match[str]) -> str:
    """A session with what its command prints now; the same as before where only the time that it took is another."""
    output = indent(printed(session["command"]), session["indent"])
    if timeless(output) == timeless(session["shown"]):
        return session[0]
    return f"{session['indent']}```console\n{session['indent']}$ {session['command']}\n{output}{session['indent']}```"


def main() -> int:
    known = {part.__name__: part for part in parts()}
    pages = [PROJECT / "README.md", *sorted((PROJECT / "router/manual").glob("*.md"))]
    for path in pages:
        text = path.read_text(encoding="utf-8")
        with tempfile.TemporaryDirectory() as folder:
            save_everything(Path(folder))
            os.chdir(folder)
            new = SESSION.sub(with_output, with_tables(text, known))
            os.chdir(PROJECT)
        if new != text:
            path.write_text(new, encoding="utf-8")
            print(f"{path.relative_to(PROJECT)} written")
    return 0


if __name__ == "__main__":
    sys.exit(main())
