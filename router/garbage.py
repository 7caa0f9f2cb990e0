"""How often the interpreter looks for garbage that refers to itself."""

from __future__ import annotations

import gc


def look_seldom() -> None:
    """What a command imports holds none, and looking takes a tenth of its start."""
    gc.set_threshold(100_000, 50, 1_000)


def look_at_nothing_old() -> None:
    """What was made so far is never looked at again. Messages make next to nothing that would have to be found."""
    gc.collect()
    gc.freeze()
    look_seldom()
