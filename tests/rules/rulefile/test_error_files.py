"""Golden files: what is wrong with a rule file, word by word.

Each file in `errors/` holds rule files and, below a line of `=`, everything that is said about them. A line of `-` and
a name begins another rule file. Nothing is patched in: a new case is a new file.
"""

from __future__ import annotations

from pathlib import Path

import pytest

from rules.errors import RuleFileError
from rules.rulefile.reading import read_rule_set

CASES = sorted((Path(__file__).parent / "errors").glob("*.txt"))


def split_case(text: str) -> tuple[list[tuple[str, bytes]], str]:
    """The rule files of a case, and the errors that it expects."""
    written, expected = text.split("=====\n")
    first, *others = written.split("\n----- ")
    files = [("rules.toml", first)] + [
        (name, content) for name, _, content in (part.partition("\n") for part in others)
    ]
    return [(name, content.encode()) for name, content in files], expected.rstrip("\n")


@pytest.mark.parametrize("case", CASES, ids=[case.stem for case in CASES])
def test_errors_are_told_word_by_word(case: Path) -> None:
    """Every mistake of a case is told once, with file, line and place, in plain words."""
    files, expected = split_case(case.read_text("utf-8"))
    with pytest.raises(RuleFileError, match=r"\w") as raised:
        read_rule_set(files)
    assert str(raised.value) == expected


def test_there_are_many_cases() -> None:
    """The golden files are found: a folder that went missing would pass unseen otherwise."""
    assert len(CASES) >= 50
