"""`did you mean`, and what there is: the end of an error about a word that isn't known."""

from __future__ import annotations

from collections.abc import Collection
from itertools import islice
from typing import Final

_LETTERS_PER_SLIP: Final = 3
_FEWEST_LETTERS: Final = 3
_LONGEST: Final = 60
"""Letters of a word that may be a slip: the time to compare two words grows with the product of their lengths."""


def did_you_mean(word: str) -> str:
    """` - did you mean "x"?`, to be put behind an error."""
    return f' - did you mean "{word}"?'


def those_known(one: str, many: str, names: Collection[str], most: int | None = None) -> str:
    """Return what there is, by the words for one and for many: `the switches are up, song`, `the only switch is up`.

    At `most` so many are named.
    """
    if not names:
        return "there is none"
    if len(names) == 1:
        return f"the only {one} is {next(iter(names))}"
    more = f" and {len(names) - most} more" if most is not None and len(names) > most else ""
    return f"the {many} are {', '.join(islice(names, most))}{more}"


def nearest(word: str, known: Collection[str]) -> str:
    """` - did you mean "x"?` for the nearest of `known`, or nothing when none is near."""
    found = near_word(word, known)
    return did_you_mean(found) if found is not None else ""


def near_word(word: str, known: Collection[str]) -> str | None:
    """The one of `known` that a word is a slip of; None where that would be a guess.

    A slip is a letter too many, missing, wrong, or two letters in the wrong order. One is likely in three letters, two
    in six. The beginning or the end of a longer name counts as the name too.
    """
    if len(word) > _LONGEST:
        return None
    typed = word.lower()
    most = len(typed) // _LETTERS_PER_SLIP
    best, fewest = None, most + 1
    for name in known:
        if abs(len(name) - len(typed)) < fewest and (count := _slips(typed, name.lower())) < fewest:
            best, fewest = name, count
    return best if best is not None else next((name for name in known if _is_part(typed, name.lower())), None)


def _is_part(one: str, other: str) -> bool:
    short, long = sorted((one, other), key=len)
    return len(short) >= _FEWEST_LETTERS and (long.startswith(short) or long.endswith(short))


def _slips(typed: str, meant: str) -> int:
    """Return how many slips lead from one word to another: the optimal string alignment distance."""
    before, last = list[int](), list(range(len(meant) + 1))
    for row, letter in enumerate(typed, start=1):
        now = [row]
        for column, other in enumerate(meant, start=1):
            cost = min(last[column] + 1, now[-1] + 1, last[column - 1] + (letter != other))
            if row > 1 and column > 1 and letter == meant[column - 2] and other == typed[row - 2]:
                cost = min(cost, before[column - 2] + 1)
            now.append(cost)
        before, last = last, now
    return last[-1]
