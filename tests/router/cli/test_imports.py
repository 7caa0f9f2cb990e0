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
ORGAN = '[devices]\norgan = { port = "rack1", channel = 4 }\n'
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

ALL_LOADED = """
import sys
from router.cli.main import main
code = main(sys.argv[1:])
print(code, *sys.modules, file=sys.stderr)
"""

NAMES = (
    *("run", "rewrite", "check", "compare", "plan", "draw", "trace", "status", "panic", "reload", "switch", "report"),
    *("ports", "listen", "send", "learn", "soundcheck", "record"),
)

COMMANDS: dict[str, set[str]] = {
    "--help": OURS,
    "--version": OURS,
    **{f"{command} --help": OURS for command in NAMES},
    "check rules.toml": OURS | READING_RULES,
    "compare rules.toml rules.toml --take take.mid": OURS | READING_RULES,
    "draw rules.toml": OURS | READING_RULES,
    "plan rig.toml": OURS | READING_RULES | {"logging", "networkx"},
    "trace rules.toml --from keys note-on 1 C4 100": OURS | READING_RULES,
    "rewrite rules.toml take.mid --dry-run": OURS | READING_RULES,
    "rewrite rules.toml take.mid other.mid --dry-run --jobs 2": OURS | READING_RULES | {"multiprocessing"},
}


@pytest.mark.parametrize("line", COMMANDS)
def test_a_command_loads_what_it_needs_and_no_more(line: str, tmp_path: Path) -> None:
    """Help and version load nothing but ours; no command loads a package that it doesn't use."""
    (tmp_path / "rules.toml").write_text(RULES, encoding="utf-8")
    (tmp_path / "rig.toml").write_text(RULES + ORGAN, encoding="utf-8")
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


ROOMS_OF_HELP = {"router.cli", "router.text", "router.daemon", "router.files", "rules.errors", "rules.midi"}
"""Options and their words need none of the rooms that know ports, recordings, rules or engines."""


@pytest.mark.parametrize("command", NAMES)
def test_help_of_a_command_loads_no_port_and_no_engine(command: str) -> None:
    """What a command does is loaded when it does it."""
    _, loaded = all_loaded(command, "--help")
    rooms = {".".join(name.split(".")[:2]) for name in loaded if name.startswith(("router.", "rules."))}
    assert rooms <= ROOMS_OF_HELP


@pytest.mark.parametrize("line", ["panic", "switch song=chorus", "status", "reload"])
def test_what_is_typed_in_a_hurry_loads_nothing_large(line: str, tmp_path: Path) -> None:
    """These reach the daemon as soon as a bare Python can, nearly: half of a start is loading."""
    code, loaded = all_loaded(*line.split(), XDG_RUNTIME_DIR=str(tmp_path))
    assert code == 2, "a daemon runs here that the test doesn't know of"
    large = {"dataclasses", "inspect", "asyncio", "concurrent.futures", "fractions", "tempfile", "logging"}
    assert large.isdisjoint(loaded)
    assert not [name for name in loaded if name.startswith(("router.midi", "rules.")) and name != "rules.errors"]


def all_loaded(*arguments: str, **environment: str) -> tuple[int, set[str]]:
    """Run the command in a process of its own: its exit code, and the names of all modules that it loaded."""
    done = subprocess.run(
        [sys.executable, "-c", ALL_LOADED, *arguments],
        env={**os.environ, "PYTHONPATH": str(ROOT), **environment},
        capture_output=True,
        text=True,
        check=True,
    )
    code, *loaded = done.stderr.splitlines()[-1].split()
    return int(code), set(loaded)
