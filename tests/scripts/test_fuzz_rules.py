"""Damaged rule files give a result or our own error; and scripts/fuzzing/fuzz_rules.py would notice if they didn't."""

from __future__ import annotations

import random
import subprocess
import sys
from pathlib import Path

import pytest

from fuzzing import fuzz_rules as fuzz
from rules.errors import Problem, RuleFileError

GOOD = b'[ports]\nkeys = { input = "Pit Keyboard*" }\nrack = { output = "Interface*" }\n'
NUMBERED = b"clock.bpm = 120\n" + GOOD
TESTED = GOOD + b'[[tests]]\nname = "one"\nfrom = "keys"\nplay = "clock"\nexpect = { rack = "clock" }\n'


def test_damaged_rule_files_give_a_result_or_our_own_error(tmp_path: Path) -> None:
    """A small run finds no violation, and more than one outcome."""
    command = [sys.executable, fuzz.__file__, "150", "--seed", "7", "--keep", str(tmp_path)]
    done = subprocess.run(command, capture_output=True, text=True, check=False)
    assert (done.returncode, done.stderr) == (0, ""), done.stdout
    assert done.stdout.startswith("150 damaged rule files, made from ")
    assert "refused" in done.stdout
    assert "read, and its tests pass" in done.stdout


@pytest.mark.parametrize(
    ("data", "outcome"),
    [
        (GOOD, "read, and its tests pass"),
        (TESTED, "read, and a test fails"),
        (b"[ports", "refused"),
        (b"", "read, and its tests pass"),
    ],
)
def test_outcomes(data: bytes, outcome: str) -> None:
    """Files are read or refused, and their tests pass or fail; all that is right."""
    assert fuzz.judge(data) == (outcome, "")


@pytest.mark.parametrize(
    ("error", "outcome", "wrong"),
    [
        (ValueError("a bug"), "violation", "ValueError: a bug"),
        (RecursionError(), "violation", "RecursionError: "),
        (RuleFileError([Problem("rules.toml", 9, "", "odd")]), "refused", "there is no line 9: rules.toml:9: odd"),
        (RuleFileError([Problem("rules.toml", 1, "", "")]), "refused", "not one line of text: "),
        (RuleFileError([Problem("rules.toml", 1, "", "two\nlines")]), "refused", "not one line of text: "),
        (RuleFileError([Problem("rules.toml", 1, "", "Input should be")]), "refused", "not in our words: "),
    ],
)
def test_violations_are_noticed(monkeypatch: pytest.MonkeyPatch, error: Exception, outcome: str, wrong: str) -> None:
    """Whatever must not happen is told in words."""

    def refuse(_: object) -> None:
        raise error

    monkeypatch.setattr(fuzz, "read_rule_set", refuse)
    found, text = fuzz.judge(GOOD)
    assert found == outcome
    assert text.startswith(wrong)


def test_a_file_with_a_violation_is_kept(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """The file can be looked at afterwards, and the exit code is not 0."""
    monkeypatch.setattr(fuzz, "judge", lambda _: ("violation", "a bug"))
    assert fuzz.main(["2", "--keep", str(tmp_path / "kept")]) == 1
    assert sorted(path.name for path in (tmp_path / "kept").iterdir()) == ["0.toml", "1.toml"]


def test_every_damage_changes_something() -> None:
    """Each way of damaging a file changes it, soon: none of them has lost its teeth."""
    chance = random.Random(3)
    for damage in fuzz.DAMAGES:
        assert any(damage(NUMBERED, chance) != NUMBERED for _ in range(30))
