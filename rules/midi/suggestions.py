"""`did you mean`: the end of an error about a word that isn't known."""

from __future__ import annotations

import difflib
from collections.abc import Iterable


def did_you_mean(word: str) -> str:
    """` - did you mean "x"?`, to be put behind an error."""
    return f' - did you mean "{word}"?'


def nearest(word: str, known: Iterable[str]) -> str:
    """` - did you mean "x"?` for the nearest of `known`, or nothing when none is near."""
    found = difflib.get_close_matches(word, list(known), n=1, cutoff=0.6)
    return did_you_mean(found[0]) if found else ""
