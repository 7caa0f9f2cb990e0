"""The tables of settings in the manual are those of the schema, and a setting is described where it is defined."""

from __future__ import annotations

from fractions import Fraction
from typing import Any

import pytest

from manual import write_pages
from tests.support.pages import settings_tables

PARTS = {part.__name__: part for part in write_pages.parts()}
TABLES = settings_tables()


@pytest.mark.parametrize("name", TABLES)
def test_tables_are_those_of_the_schema(name: str) -> None:
    """Where they differ, scripts/manual/write_pages.py puts that right."""
    _, rows = TABLES[name]
    assert [f"| {' | '.join(row)} |" for row in rows if row[0] != "---"] == [
        line for line in write_pages.table(PARTS[name]) if not line.startswith("|---")
    ]


@pytest.mark.parametrize(
    ("value", "shown"),
    [
        (True, "`true`"),
        (False, "`false`"),
        ("usb", '`"usb"`'),
        (7, "`7`"),
        (Fraction(0), "`0`"),
        (None, "none"),
        ((), "none"),
        ({}, "none"),
        (frozenset(), "none"),
    ],
)
def test_defaults_are_written_as_in_rule_files(value: Any, shown: str) -> None:
    """Nothing at all is "none"."""
    assert write_pages.written(value) == shown


def test_tables_and_sessions_are_put_in_their_places(monkeypatch: pytest.MonkeyPatch) -> None:
    """What is around them stays; a session that took another time stays too."""
    page = "a\n<!-- settings: ThinStep -->\nold\n<!-- end -->\nb\n"
    head, line, _ = page.splitlines()[0], *page.splitlines()[1:3]
    assert write_pages.with_tables(page, PARTS).splitlines() == [
        head,
        line,
        *write_pages.table(PARTS["ThinStep"]),
        "<!-- end -->",
        "b",
    ]
    monkeypatch.setattr(write_pages, "printed", lambda command: f"{command} took 0.12 s\n")
    sessions = "  ```console\n  $ one\n  one took 9.99 s\n  ```\n\n```console\n$ two\nold\n\nlines\n```\n"
    assert write_pages.SESSION.sub(write_pages.with_output, sessions) == (
        "  ```console\n  $ one\n  one took 9.99 s\n  ```\n\n```console\n$ two\ntwo took 0.12 s\n```\n"
    )
