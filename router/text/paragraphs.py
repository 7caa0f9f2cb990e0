"""Prose for a terminal, in lines of at most 80 characters."""

from __future__ import annotations

from textwrap import wrap
from typing import Final

from router.text.formatting import plain

WIDTH: Final = 80
_NO_BREAK: Final = "\u00a0"


def wrapped(text: str, indent: str = "", hanging: str = "") -> list[str]:
    """Return a text as lines: the first one after `indent`, the others after `hanging`.

    A word that is longer than a line stays whole, so that it can be copied; and so does `100 %`.
    """
    lines = wrap(
        plain(text).replace(" %", f"{_NO_BREAK}%"),
        WIDTH,
        initial_indent=indent,
        subsequent_indent=hanging,
        break_long_words=False,
        break_on_hyphens=False,
    )
    return [line.replace(_NO_BREAK, " ") for line in lines]
