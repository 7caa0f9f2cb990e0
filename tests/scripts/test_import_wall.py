"""The wall between `rules` and the world: it stands, and it would be noticed if it fell."""

from __future__ import annotations

import subprocess
import sys
from pathlib import Path

import pytest

from tests.support.places import SOURCE

WALL = SOURCE / "scripts/checks/import_wall.py"


def wall(*arguments: object) -> subprocess.CompletedProcess[str]:
    """Run the wall; an argument names another project folder."""
    command = [sys.executable, str(WALL), *map(str, arguments)]
    return subprocess.run(command, capture_output=True, text=True, check=False)


def test_rules_are_pure() -> None:
    """No module of rules/ imports the router, or anything that could touch the world."""
    answer = wall()
    assert (answer.returncode, answer.stdout, answer.stderr) == (0, "", "")


@pytest.mark.parametrize(
    ("source", "problem"),
    [
        ("import os", "imports os"),
        ("import os.path as p", "imports os.path"),
        ("from pathlib import Path", "imports pathlib"),
        ("import json, router.cli", "imports router.cli"),
        ("from router import files", "imports router"),
        ("from .. import router", "imports from outside the package by dots"),
        ("def load():\n    import time", "imports time"),
        ("if True:\n    from random import random", "imports random"),
        ("data = open('x').read()", "calls open()"),
        ("print('hello')", "calls print()"),
        ("os = __import__('os')", "calls __import__()"),
    ],
)
def test_breaches_are_named(tmp_path: Path, source: str, problem: str) -> None:
    """Whatever brings an effect into rules/ is named with its file and line."""
    (tmp_path / "rules").mkdir()
    (tmp_path / "rules/odd.py").write_text(f"# first line\n{source}\n")
    answer = wall(tmp_path)
    assert answer.returncode == 1
    assert problem in answer.stdout
    assert answer.stdout.startswith("rules/odd.py:")


@pytest.mark.parametrize(
    "source",
    [
        "import re\nfrom collections.abc import Iterator",
        "from pydantic import BaseModel",
        "from rules import errors\nfrom .. import errors\nfrom ..errors import Problem\nfrom . import other",
        "def print_note(note): return note\nfile.open()",
    ],
)
def test_pure_modules_pass(tmp_path: Path, source: str) -> None:
    """Modules that only compute, and the package's own, may be imported from any depth."""
    (tmp_path / "rules/deep").mkdir(parents=True)
    (tmp_path / "rules/deep/even.py").write_text(source)
    answer = wall(tmp_path)
    assert (answer.returncode, answer.stdout) == (0, "")


def test_wrong_folder(tmp_path: Path) -> None:
    """A folder without the package is an error, not a wall that stands."""
    answer = wall(tmp_path)
    assert answer.returncode == 2
    assert "there is no package" in answer.stderr


def test_check_holds_up_the_wall() -> None:
    """scripts/check runs this same wall."""
    assert "scripts/checks/import_wall.py" in (SOURCE / "scripts/check").read_text()
