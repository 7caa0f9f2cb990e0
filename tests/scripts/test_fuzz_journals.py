"""Damaged journals give takes; and scripts/fuzzing/fuzz_journals.py would notice if they didn't."""

from __future__ import annotations

import subprocess
import sys
from pathlib import Path

import pytest

from fuzzing import fuzz_journals as fuzz
from rules.journal.integrity import Intact
from tests.support.journal_samples import PLAYED, packed

JOURNAL = packed(*PLAYED)


def test_damaged_journals_give_takes(tmp_path: Path) -> None:
    """A small run finds no violation."""
    command = [sys.executable, fuzz.__file__, "150", "--seed", "5", "--keep", str(tmp_path)]
    done = subprocess.run(command, capture_output=True, text=True, check=False)
    assert (done.returncode, done.stderr) == (0, ""), done.stdout
    assert done.stdout.startswith("150 damaged journals, seed 5:")


@pytest.mark.parametrize(
    ("data", "answer", "wrong"),
    [
        (JOURNAL, Intact(len(JOURNAL), ""), ""),
        (JOURNAL[:-1], Intact(len(packed(*PLAYED[:-1])), ""), ""),
        (JOURNAL, Intact(0, ""), f"intact up to byte 0, and yet the first that is damaged is {len(JOURNAL)}: "),
        (
            JOURNAL[:-1],
            Intact(len(packed(*PLAYED[:-1])), "odd"),
            f"torn, and yet damaged at byte {len(JOURNAL) - 15}: odd",
        ),
        (JOURNAL + b"\1" * 5000, Intact(len(JOURNAL), ""), f"torn at byte {len(JOURNAL)}, and yet 5000 bytes follow"),
    ],
)
def test_violations_are_noticed(monkeypatch: pytest.MonkeyPatch, data: bytes, answer: Intact, wrong: str) -> None:
    """Whatever must not happen is told in words."""
    monkeypatch.setattr(fuzz, "intact_part", lambda _: answer)
    assert fuzz.judge(JOURNAL, data)[1] == wrong


def test_a_journal_with_a_violation_is_kept(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """It can be looked at afterwards, and the exit code is not 0."""
    monkeypatch.setattr(fuzz, "judge", lambda *_: ("violation", "a bug"))
    assert fuzz.main(["2", "--keep", str(tmp_path / "kept")]) == 1
    assert sorted(path.name for path in (tmp_path / "kept").iterdir()) == ["0.mid.journal", "1.mid.journal"]
