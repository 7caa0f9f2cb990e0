"""DEVELOPERS.md and the pages it leads to, held to what is there."""

from __future__ import annotations

import re

import pytest

from tests.support.places import SOURCE

TEXT = (SOURCE / "DEVELOPERS.md").read_text(encoding="utf-8")
OTHERS = sorted(
    path.relative_to(SOURCE).as_posix()
    for folder in ("rules", "router", "scripts", "tests")
    for path in (SOURCE / folder).rglob("*.md")
    if "manual" not in path.parts
)
PAGES = ["DEVELOPERS.md", *OTHERS]
NAMED = re.compile(r"(?:`|\]\()((?:scripts|tests|rules|router|examples)/[\w./-]*)")


@pytest.mark.parametrize("page", PAGES)
def test_what_is_named_is_there(page: str) -> None:
    """Every script, test, and folder of ours that a page names exists."""
    text = (SOURCE / page).read_text(encoding="utf-8")
    named = set(NAMED.findall(text))
    assert len(named) > 2
    assert sorted(name for name in named if not (SOURCE / name).exists()) == []


def test_the_map_names_what_there_is() -> None:
    """The map leads to many places, and to each page of its own."""
    named = set(NAMED.findall(TEXT))
    assert len(named) > 20
    assert len(PAGES) > 4
    assert [page for page in PAGES[1:] if page not in named] == []


def test_every_command_of_a_contributor_is_named() -> None:
    """But for what the others share."""
    commands = {path.name for path in (SOURCE / "scripts").iterdir() if path.is_file() and path.suffix == ""}
    assert sorted(name for name in commands if f"`scripts/{name}`" not in TEXT) == []
