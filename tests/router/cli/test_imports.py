"""What each command loads before it begins: start-up counts, and a heavy package that creeps in is noticed here."""

from __future__ import annotations

import os
import subprocess
import sys
from pathlib import Path

import pytest

from tests.support.command_shell import RULES, TAKE

ROOT = Path(__file__).parents[3]

OURS = {"router", "rules"}
READING_RULES = {"annotated_types", "pydantic", "pydantic_core", "typing_extensions", "typing_inspection"}
"""Whoever reads rule files needs the package that checks them, and what that brings."""

LOADED = """
import sys
from router.cli.main import main
code = main(sys.argv[1:])
mine = set(sys.stdlib_module_names) | {"__main__", "__mp_main__", "_distutils_hack", "librt", "mypy_extensions"}
names = {name.partition(".")[0] for name in sys.modules}
own = {name for name in names if not name.startswith(("_sysconfig", "__editable__")) and not name.endswith("__mypyc")}
heavy = {"asyncio", "http", "logging", "multiprocessing", "sqlite3", "ssl", "unittest"} & set(sys.modules)
print(code, *sorted((own - mine) | heavy), file=sys.stderr)
"""

NAMES = (
    *("run", "rewrite", "check", "trace", "status", "panic", "reload", "switch", "report"),
    *("ports", "listen", "send", "learn", "soundcheck", "record"),
)

COMMANDS: dict[str, set[str]] = {
    "--help": OURS,
    "--version": OURS,
    **{f"{command} --help": OURS for command in NAMES},
    "check rules.toml": OURS | READING_RULES,
    "trace rules.toml --from keys note-on 1 C4 100": OURS | READING_RULES,
    "rewrite rules.toml take.mid --dry-run": OURS | READING_RULES,
    "rewrite rules.toml take.mid other.mid --dry-run --jobs 2": OURS | READING_RULES | {"multiprocessing"},
}


@pytest.mark.parametrize("line", COMMANDS)
def test_a_command_loads_what_it_needs_and_no_more(line: str, tmp_path: Path) -> None:
    """Help and version load nothing but ours; no command loads a package that it doesn't use."""
    (tmp_path / "rules.toml").write_text(RULES, encoding="utf-8")
    for name in ("take.mid", "other.mid"):
        (tmp_path / name).write_bytes(TAKE)
    done = subprocess.run(
        [sys.executable, "-c", LOADED, *line.split()],
        cwd=tmp_path,
        env={**os.environ, "PYTHONPATH": str(ROOT)},
        capture_output=True,
        text=True,
        check=True,
    )
    code, *loaded = done.stderr.split()
    assert code == "0"
    assert set(loaded) == COMMANDS[line]
