"""The direction of imports between the rooms of the packages: it is held, and it would be noticed if it weren't."""

from __future__ import annotations

import shutil
import subprocess
import sys
import tomllib
from pathlib import Path

import pytest

from tests.support.places import SOURCE

LINTER = Path(sys.executable).with_name("lint-imports")


def lint(project: Path) -> subprocess.CompletedProcess[str]:
    """Hold the packages in a folder against the contracts of its pyproject.toml."""
    return subprocess.run([LINTER, "--no-cache"], cwd=project, capture_output=True, text=True, check=False)


def test_no_contract_has_an_exception() -> None:
    """A direction with exceptions is none; and scripts/check holds the contracts."""
    project = tomllib.loads((SOURCE / "pyproject.toml").read_text(encoding="utf-8"))
    contracts = project["tool"]["importlinter"]["contracts"]
    assert {contract["type"] for contract in contracts} == {"layers", "acyclic_siblings"}
    assert not [contract["id"] for contract in contracts if "ignore_imports" in contract]
    assert all(contract["exhaustive"] for contract in contracts if contract["type"] == "layers")
    assert "lint-imports" in (SOURCE / "scripts/check").read_text(encoding="utf-8")


@pytest.mark.parametrize(
    ("module", "line", "words"),
    [
        ("router/text/durations.py", "import router.midi.backend", "router.text is not allowed to import router.midi"),
        ("router/midi/backend.py", "import router.midi.backend_choice", "router.midi"),
        ("router/odd.py", "", "router.odd"),
    ],
    ids=["a room leans the wrong way", "a circle in a room", "a module without a room"],
)
def test_what_breaks_a_contract_is_named(tmp_path: Path, module: str, line: str, words: str) -> None:
    """Of a copy in which one line is wrong."""
    for package in ("rules", "router"):
        shutil.copytree(SOURCE / package, tmp_path / package, ignore=shutil.ignore_patterns("__pycache__", "*.so"))
    shutil.copy(SOURCE / "pyproject.toml", tmp_path)
    with (tmp_path / module).open("a", encoding="utf-8") as file:
        file.write(f"{line}\n")
    done = lint(tmp_path)
    assert done.returncode == 1
    assert words in done.stdout
