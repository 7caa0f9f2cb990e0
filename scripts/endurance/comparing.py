"""What was heard beside what was sent, where a sound server may have dropped or repeated whole periods."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Final, NamedTuple

_ALIKE: Final = 12
"""So many messages in a row that agree show where both go on together."""

_FURTHEST: Final = 2_000


class Faults(NamedTuple):
    """How many messages weren't heard, how many were heard that weren't sent there, and in how many places."""

    lost: int = 0
    extra: int = 0
    places: int = 0


def compared(sent: Sequence[bytes], heard: Sequence[bytes]) -> Faults:
    """Walk along both; where they part, find the nearest place at which they go on together."""
    faults = Faults()
    at = found = 0
    while True:
        while at < len(sent) and found < len(heard) and sent[at] == heard[found]:
            at, found = at + 1, found + 1
        if at == len(sent) and found == len(heard):
            return faults
        lost, extra = _way_on(sent[at : at + _FURTHEST + _ALIKE], heard[found : found + _FURTHEST + _ALIKE])
        faults = Faults(faults.lost + lost, faults.extra + extra, faults.places + 1)
        at, found = at + lost, found + extra


def _way_on(sent: Sequence[bytes], heard: Sequence[bytes]) -> tuple[int, int]:
    """How much to leave out of each; all of both where nothing is alike any more."""
    for total in range(1, min(len(sent) + len(heard), _FURTHEST)):
        for lost in range(max(0, total - len(heard)), min(total, len(sent)) + 1):
            rest, other = sent[lost : lost + _ALIKE], heard[total - lost : total - lost + _ALIKE]
            if rest == other:
                return lost, total - lost
    return len(sent), len(heard)
