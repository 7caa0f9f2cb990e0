"""Rules read anew while the music plays."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from router.preparing import Prepared, prepare

__all__ = ["Outcome", "Prepared", "prepare"]


@dataclass(frozen=True, slots=True)
class Outcome:
    """What became of a reload, and why, in words. Where it was rejected, the rules from before play on."""

    kind: Literal["applied", "unchanged", "rejected"]
    words: tuple[str, ...]
