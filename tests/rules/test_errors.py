"""Errors that a user can cause."""

from __future__ import annotations

import pickle

import pytest

from rules.errors import MachineError, MidiFileError, NotationError, PointsmanError, Problem, RuleFileError

PROBLEMS = (
    Problem("pit.toml", 3, 'rule "keyboard", step 2 (transpose)', "130 is too far"),
    Problem("pads.toml", 0, "", "is empty"),
)


@pytest.mark.parametrize(
    "error",
    [
        RuleFileError(PROBLEMS),
        RuleFileError(PROBLEMS, 7),
        MidiFileError(26, "the track ends here"),
        NotationError("not a note"),
        MachineError("the disk is full"),
    ],
    ids=lambda error: type(error).__name__,
)
def test_an_error_comes_back_whole_from_another_process(error: PointsmanError) -> None:
    """Worker processes hand errors back by pickle: kind, text and all that they carry."""
    back = pickle.loads(pickle.dumps(error))
    assert type(back) is type(error)
    assert str(back) == str(error)
    assert vars(back) == vars(error)


def test_a_rule_file_error_carries_every_problem() -> None:
    """Its text has a line for each."""
    error = RuleFileError(PROBLEMS)
    assert error.problems == PROBLEMS
    assert str(error).splitlines() == [
        'pit.toml:3: rule "keyboard", step 2 (transpose): 130 is too far',
        "pads.toml: is empty",
    ]
