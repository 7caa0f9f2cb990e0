"""Whose fault an error is: the rule file, the MIDI file, or this machine.

Any other exception that leaves `rules` or `router` is a bug of ours.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Final, NamedTuple


class PointsmanError(Exception):
    """Base of every error that a user can cause and mend. Raise one of its kinds, never this class itself."""

    def __init__(self, message: str) -> None:
        if type(self) is PointsmanError:
            raise TypeError("raise one of the kinds of PointsmanError")
        super().__init__(message)


class Problem(NamedTuple):
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


MOST_PROBLEMS: Final = 50
"""How many problems are shown; who corrects those finds the rest with the next reading."""


class RuleFileError(PointsmanError):
    """A rule file can't be used. `problems` are those found, and `unworded` is how many more there are without words.

    Its text has the first 50 in lines, and says how many more there are.
    """

    def __init__(self, problems: Sequence[Problem], unworded: int = 0) -> None:
        self.problems = tuple(problems)
        self.unworded = unworded
        super().__init__("\n".join(self.lines()))

    @property
    def amount(self) -> int:
        """How many problems there are, those without words included."""
        return len(self.problems) + self.unworded

    def lines(self) -> list[str]:
        """Return the first problems, a line each, and a line that counts the rest."""
        more = self.amount - MOST_PROBLEMS
        lines = [str(problem) for problem in self.problems[:MOST_PROBLEMS]]
        return [*lines, f"... and {more:,} more problems"] if more > 0 else lines

    def __reduce__(self) -> tuple[type[RuleFileError], tuple[tuple[Problem, ...], int]]:
        return type(self), (self.problems, self.unworded)  # else a pickle holds the text alone, and isn't readable


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
