"""SOURCES.md, held to the tests that it names."""

from __future__ import annotations

import re
from pathlib import Path

from tests.support.places import SOURCE

TEXT = Path(__file__).with_name("SOURCES.md").read_text(encoding="utf-8")


def test_every_fact_from_outside_has_a_source_and_a_test() -> None:
    """No cell of the table is empty, and its tests are Python files."""
    rows = [line.strip("|").split("|") for line in TEXT.splitlines() if line.startswith("| ")][1:]
    assert len(rows) > 20
    for statement, source, tests in rows:
        assert statement.strip()
        assert source.strip()
        assert re.fullmatch(r" `tests/[\w/]+\.py`(, `tests/[\w/]+\.py`)* ", tests), statement


def test_tests_that_the_table_names_tell_their_source() -> None:
    """A test that holds us to a fact from outside names where the fact comes from, or the reader that it trusts."""
    for name in set(re.findall(r"`(tests/[\w/]+\.py)`", TEXT)):
        text = (SOURCE / name).read_text(encoding="utf-8")
        assert re.search(
            r"RP-00[13]|sd_notify|MIDI 1\.0|M1 |midicsv|Standard MIDI Files|mido|SVG 1\.1|ISO 216|DejaVu Sans", text
        ), name
