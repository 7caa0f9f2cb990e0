"""How long the command takes from its start to its end.

The modules are compiled to bytecode first, as every installation does; with PYTHONDONTWRITEBYTECODE and a fresh clone,
each start compiles what it loads again.
"""

from __future__ import annotations

import os
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
play   = "note-on 10 C2 100"
expect = {}
[[tests]]
name   = "the piano moves"
from   = "seq"
play   = "note-on 1 C4 100"
expect = { rack = "note-on 4 D4 90" }
"""

ASKED = {"--help": 0.08, "soundcheck --help": 0.08, "listen --help": 0.08, "record --help": 0.08, "check": 0.2}
"""Seconds that each may take on a quiet machine."""


def measure(quick: bool) -> list[Figure]:
    """Each command beside a Python that does nothing, by turns."""
    with tempfile.TemporaryDirectory() as folder:
        rules = Path(folder) / "small.toml"
        rules.write_text(EDIT + TEST, encoding="utf-8")
        commands = {
            "python": [sys.executable, "-c", "pass"],
            **{line: [*COMMAND, *line.split(), *([str(rules)] if line == "check" else [])] for line in ASKED},
        }
        seconds: dict[str, list[float]] = {name: [] for name in commands}
        busy: dict[str, list[float]] = {name: [] for name in commands}
        for turn in range(9 if quick else 21):
            for name, command in commands.items():
                begin, busy_before = perf_counter(), processor_seconds()
                subprocess.run(command, stdout=subprocess.DEVNULL, check=True, cwd=ROOT, env=with_bytecode())
                if turn:  # the first one compiles
                    seconds[name].append(perf_counter() - begin)
                    busy[name].append(processor_seconds() - busy_before)
    told = {name: f"{median(seconds[name]):.3f} s, processor {median(busy[name]):.3f} s" for name in commands}
    bare = f"python alone {told['python']}; load {os.getloadavg()[0]:.1f}"
    return [
        Figure(_what(name), seconds[name], "s", None, asked, bare, f"processor {median(busy[name]):.3f} s")
        for name, asked in ASKED.items()
    ]


def _what(line: str) -> str:
    return f"pointsman {line} of a small file" if line == "check" else f"pointsman {line}, whole process"


def with_bytecode() -> dict[str, str]:
    """The environment, but that what is compiled is kept."""
    return {name: value for name, value in os.environ.items() if name != "PYTHONDONTWRITEBYTECODE"}


def processor_seconds() -> float:
    """What all processes that ended so far took of the processor."""
    usage = resource.getrusage(resource.RUSAGE_CHILDREN)
    return usage.ru_utime + usage.ru_stime
