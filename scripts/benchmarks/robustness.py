"""The promises that take minutes to test: no difference to the slow model, only our own errors for damaged files.

Nothing is timed here; what the scripts behind it print goes to standard error.
"""

from __future__ import annotations

import subprocess
import sys
from pathlib import Path

from benchmarks.figures import Figure

ROOT = Path(__file__).resolve().parent.parent.parent


def against_model(quick: bool) -> list[Figure]:
    """The engine against the slow model."""
    runs = 200 if quick else 2_000
    comparison = [sys.executable, "scripts/fuzzing/compare_with_model.py", str(runs)]
    return [_figure(f"engine against the slow model, {runs:,} runs", comparison)]


def fuzz(quick: bool) -> list[Figure]:
    """Damaged .mid files, rule files and journals."""
    recordings, rules, journals = (500, 200, 200) if quick else (20_000, 5_000, 5_000)
    midi = [sys.executable, "scripts/fuzzing/fuzz_midi.py", str(recordings), "--command-files", str(recordings // 50)]
    toml = [sys.executable, "scripts/fuzzing/fuzz_rules.py", str(rules)]
    takes = [sys.executable, "scripts/fuzzing/fuzz_journals.py", str(journals)]
    return [
        _figure(f"{recordings:,} damaged .mid files", midi),
        _figure(f"{rules:,} damaged rule files", toml),
        _figure(f"{journals:,} damaged journals", takes),
    ]


def _figure(what: str, command: list[str]) -> Figure:
    """1 if a command finds something, 0 if it doesn't; what, it says itself."""
    done = subprocess.run(command, cwd=ROOT, stdout=sys.stderr.fileno(), check=False)
    found = done.returncode != 0
    return Figure(
        what, [int(found)], "faulty", at_most=0, ours="faults found, see above" if found else "no fault found"
    )
