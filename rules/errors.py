"""Whose fault an error is: the rule file, the MIDI file, or this machine.

Any other exception that leaves `rules` or `router` is a bug of ours.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass


class PointsmanError(Exception):
    """Base of every error that a user can cause and mend. Raise one of its kinds, never this class itself."""

    def __init__(self, message: str) -> None:
        if type(self) is PointsmanError:
            raise TypeError("raise one of the kinds of PointsmanError")
        super().__init__(message)


@dataclass(frozen=True, slots=True)
class Problem:
    """One thing that is wrong in a rule file.

    `file` is the name as the user gave it, `line` counts from 1 (0: the whole file), `place` names the rule and step
    in words (`rule "keyboard", step 2 (transpose)`; may be empty) and `text` says what is wrong and what is allowed.
    """

    file: str
    line: int
    place: str
    text: str

    def __str__(self) -> str:
        where = f"{self.file}:{self.line}" if self.line else self.file
        return f"{where}: {self.place}: {self.text}" if self.place else f"{where}: {self.text}"


class RuleFileError(PointsmanError):
    """A rule file can't be used. Carries every problem found, not only the first."""

    def __init__(self, problems: Sequence[Problem]) -> None:
        self.problems = tuple(problems)
        super().__init__("\n".join(str(problem) for problem in self.problems))

    def __reduce__(self) -> tuple[type[RuleFileError], tuple[tuple[Problem, ...]]]:
        return type(self), (self.problems,)  # else a pickle would hold the text alone, and not be readable


class NotationError(PointsmanError):
    """A note name, range or message in words that can't be read. The text says what is allowed."""


class MidiFileError(PointsmanError):
    """A Standard MIDI File that can't be read. `offset` is the byte position in the file, counted from 0."""

    def __init__(self, offset: int, text: str) -> None:
        self.offset = offset
        self.text = text
        super().__init__(f"byte {offset}: {text}")

    def __reduce__(self) -> tuple[type[MidiFileError], tuple[int, str]]:
        return type(self), (self.offset, self.text)


class MachineError(PointsmanError):
    """This machine stands in the way: a missing file, a full disk, no permission."""
