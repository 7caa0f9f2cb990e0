"""Killed rewrites leave whole files; and scripts/endurance/kill_rewrites.py would notice if they didn't."""

from __future__ import annotations

import random
import subprocess
import sys
from pathlib import Path

import pytest

from endurance import kill_rewrites
from endurance.kill_rewrites import Round, made_of, recordings

OLD = recordings(2, random.Random(1))
NEW = {name: made_of(data) or b"" for name, data in OLD.items()}


def test_killed_runs_leave_whole_files() -> None:
    """A small run finds no violation."""
    command = [sys.executable, kill_rewrites.__file__, "1", "--files", "4"]
    done = subprocess.run(command, capture_output=True, text=True, check=False)
    assert (done.returncode, done.stderr) == (0, ""), done.stdout
    assert done.stdout.startswith("1 kills in place, seed 1:")


@pytest.mark.parametrize(
    ("in_place", "name", "data", "wrong"),
    [
        (True, "takes/0.mid", OLD["0.mid"], []),
        (True, "takes/0.mid", OLD["0.mid"][:-1], ["0.mid: neither old nor new"]),
        (True, "takes/0.mid", NEW["0.mid"], ["0.mid: the backup is not the old one"]),
        (False, "out/0.mid", NEW["0.mid"], []),
        (False, "out/0.mid", NEW["0.mid"][:-1], ["0.mid: neither old nor new"]),
    ],
)
def test_what_is_not_whole_is_noticed(tmp_path: Path, in_place: bool, name: str, data: bytes, wrong: list[str]) -> None:
    """A recording or a result that is half there, and a new one without its backup."""
    at = Round(tmp_path, OLD, NEW, in_place)
    (tmp_path / "out").mkdir()
    (tmp_path / name).write_bytes(data)
    at.look()
    assert at.wrong == wrong


def test_what_a_run_leaves_behind_is_noticed(tmp_path: Path) -> None:
    """Files that were not made, parts of files, and tracebacks."""
    at = Round(tmp_path, OLD, NEW, in_place=False)
    (tmp_path / "out").mkdir()
    (tmp_path / "out/.0.mid.part").touch()
    at.log.write_text("Traceback (most recent call last)", encoding="utf-8")
    at.finish(subprocess.Popen([sys.executable, "-c", "raise SystemExit(1)"]))
    assert [line.partition(":")[0] for line in at.close()] == [
        "the last run ended with 1",
        "the last run made 0 of 2",
        "left behind",
        "a traceback",
    ]
