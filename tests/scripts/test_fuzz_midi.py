"""Damaged files give a result or our own error; and scripts/fuzzing/fuzz_midi.py would notice if they didn't."""

from __future__ import annotations

import subprocess
import sys
from pathlib import Path

import pytest

from fuzzing import fuzz_midi as fuzz
from rules.errors import MidiFileError
from rules.smf.damage import Damage
from rules.smf.report import Rewritten
from tests.support.command_shell import REPAIRED, TAKE
from tests.support.fake_rewriting import report


def test_damaged_files_give_a_result_or_our_own_error(tmp_path: Path) -> None:
    """A small run, in the process and by the real command, finds no violation."""
    command = [sys.executable, fuzz.__file__, "400", "--command-files", "8", "--seed", "5", "--keep", str(tmp_path)]
    done = subprocess.run(command, capture_output=True, text=True, check=False)
    assert (done.returncode, done.stderr) == (0, ""), done.stdout
    assert done.stdout.startswith("400 damaged files, made from ")
    assert "8 by the command, into a folder and in place: 0 violations" in done.stdout


class Answering:
    """A rewriter that always answers the same, or raises."""

    def __init__(self, answer: Rewritten | BaseException) -> None:
        self.answer = answer

    def rewrite(self, _: bytes) -> Rewritten:
        """Give the answer."""
        if isinstance(self.answer, BaseException):
            raise self.answer
        return self.answer


CUT = report()
CUT.damage = (Damage(22, "cut off"),)


@pytest.mark.parametrize(
    ("rules", "answer", "outcome", "wrong"),
    [
        ("merge", Rewritten({"": TAKE}, report()), "rewritten", ""),
        ("merge", Rewritten({"": TAKE}, CUT), "read around damage", ""),
        ("merge", MidiFileError(3, "odd"), "refused", ""),
        ("merge", MidiFileError(999, "odd"), "refused", "byte 999 is no byte of 34: odd"),
        ("merge", ValueError("a bug"), "violation", "ValueError: a bug"),
        ("merge", MemoryError(), "violation", "MemoryError: "),
        ("through", Rewritten({"": REPAIRED}, report()), "violation", "rules that change nothing changed the bytes"),
        ("through-strict", Rewritten({"": TAKE}, CUT), "violation", "strict, and yet accepted: byte 22: cut off"),
        ("merge", Rewritten({"": b"MThd"}, report()), "violation", "what was written can't be read: byte 4"),
    ],
)
def test_violations_are_noticed(rules: str, answer: Rewritten | BaseException, outcome: str, wrong: str) -> None:
    """Whatever must not happen is told in words."""
    found, text = fuzz.judge(rules, Answering(answer), TAKE)
    assert found == outcome
    assert text.startswith(wrong) if wrong else text == ""


def test_a_file_with_a_violation_is_kept(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """The file can be looked at afterwards, and the exit code is not 0."""
    monkeypatch.setattr(fuzz, "rewriters", lambda: {"merge": Answering(ValueError("a bug"))})
    monkeypatch.setattr(fuzz, "fuzz_command", lambda *_: [])
    assert fuzz.main(["2", "--keep", str(tmp_path / "kept")]) == 1
    assert sorted(path.name for path in (tmp_path / "kept").iterdir()) == ["0-merge.mid", "1-merge.mid"]
