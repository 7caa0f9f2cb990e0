"""How long the command takes from its start to its end."""

from __future__ import annotations

import resource
import subprocess
import sys
import tempfile
from pathlib import Path
from statistics import median
from time import perf_counter

from benchmarks.figures import Figure
from benchmarks.rulefiles import EDIT

ROOT = Path(__file__).resolve().parent.parent.parent
INSTALLED = Path(sys.executable).with_name("pointsman")
COMMAND = [str(INSTALLED)] if INSTALLED.exists() else [sys.executable, "-m", "router"]

TEST = """
[[tests]]
name   = "drums are left out"
from   = "seq"
send   = "note-on 10 C2 100"
expect = {}
[[tests]]
name   = "the piano moves"
from   = "seq"
send   = "note-on 1 C4 100"
expect = { rack = "note-on 4 D4 90" }
"""


def measure(quick: bool) -> list[Figure]:
    """Both figures, beside a Python that does nothing, by turns."""
    with tempfile.TemporaryDirectory() as folder:
        rules = Path(folder) / "small.toml"
        rules.write_text(EDIT + TEST, encoding="utf-8")
        commands = {
            "python": [sys.executable, "-c", "pass"],
            "help": [*COMMAND, "--help"],
            "check": [*COMMAND, "check", str(rules)],
        }
        seconds: dict[str, list[float]] = {name: [] for name in commands}
        busy: dict[str, list[float]] = {name: [] for name in commands}
        for _ in range(8 if quick else 20):
            for name, command in commands.items():
                begin, busy_before = perf_counter(), _processor_seconds()
                subprocess.run(command, stdout=subprocess.DEVNULL, check=True, cwd=ROOT)
                seconds[name].append(perf_counter() - begin)
                busy[name].append(_processor_seconds() - busy_before)
    told = {name: f"{median(seconds[name]):.3f} s, processor {median(busy[name]):.3f} s" for name in commands}
    bare = f"python alone {told['python']}"
    return [
        Figure("pointsman --help, whole process", seconds["help"], "s", None, 0.15, bare, told["help"]),
        Figure("pointsman check of a small file", seconds["check"], "s", None, 0.35, bare, told["check"]),
    ]


def _processor_seconds() -> float:
    """What all processes that ended so far took of the processor."""
    usage = resource.getrusage(resource.RUSAGE_CHILDREN)
    return usage.ru_utime + usage.ru_stime
