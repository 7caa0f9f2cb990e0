"""DEVELOPERS.md, held to what is there."""

from __future__ import annotations

import re

from tests.places import SOURCE

TEXT = (SOURCE / "DEVELOPERS.md").read_text(encoding="utf-8")
TABLE = TEXT.partition("## Checked against the outside")[2]


def test_what_is_named_is_there() -> None:
    """Every script, test, and folder of ours that the guide names exists."""
    named = set(re.findall(r"`((?:scripts|tests|rules|router|examples)/[\w./-]*)", TEXT))
    assert len(named) > 20
    assert sorted(name for name in named if not (SOURCE / name).exists()) == []


def test_every_command_of_a_contributor_is_named() -> None:
    """But for what the others share."""
    commands = {path.name for path in (SOURCE / "scripts").iterdir() if path.is_file() and path.suffix == ""}
    assert sorted(name for name in commands if f"`scripts/{name}`" not in TEXT) == []


def test_every_fact_from_outside_has_a_source_and_a_test() -> None:
    """No cell of the table is empty, and its tests are Python files."""
    rows = [line.strip("|").split("|") for line in TABLE.splitlines() if line.startswith("| ")][1:]
    assert len(rows) > 20
    for statement, source, tests in rows:
        assert statement.strip()
        assert source.strip()
        assert re.fullmatch(r" `tests/[\w/]+\.py`(, `tests/[\w/]+\.py`)* ", tests), statement


def test_tests_that_the_table_names_tell_their_source() -> None:
    """A test that holds us to a fact from outside names where the fact comes from, or the reader that it trusts."""
    for name in set(re.findall(r"`(tests/[\w/]+\.py)`", TABLE)):
        text = (SOURCE / name).read_text(encoding="utf-8")
        assert re.search(r"RP-00[13]|sd_notify|MIDI 1\.0|M1 |midicsv|Standard MIDI Files|mido", text), name
