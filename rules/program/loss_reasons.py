"""Why a message comes to nothing: the reasons that a summary names."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Final

NO_RULE: Final = "no rule"
"""No rule matches it."""

NO_ZONE: Final = "no zone"
"""A rule matches it, and none of its zones does (ruling 6)."""

NO_DESTINATION: Final = "no destination"
"""The `to` table of a rule has nothing for its channel, or the rule discards."""

OUT_OF_RANGE: Final = "out of range"
"""A `transpose` moves it beyond the keys of MIDI, or its device doesn't have the note."""

SWITCH: Final = "switch"
"""It changes a switch, and isn't passed on."""

FILTER: Final = "filter"
MAP: Final = "map"
THIN: Final = "thin"
SEND: Final = "send"
LENGTH: Final = "length"
SNAP: Final = "snap"
"""These steps drop it: a map or a `snap` with `others = "drop"`, a `send` in place of what comes, a `length` that ends
the note."""

OTHER: Final = "other"
"""Another message stands for it: a note-off while another part holds the note, a bank select for a later one."""

REASONS: Final = (NO_RULE, NO_ZONE, NO_DESTINATION, FILTER, OUT_OF_RANGE, MAP, SNAP, SEND, THIN, LENGTH, SWITCH, OTHER)
"""All of them, in the order in which a summary lists them. Lanes of loss tables have their numbers as targets."""

Drops = dict[tuple[int | None, str], int]
"""How many messages were dropped: by the channel 1-16 on which they came (SEVERAL: which one isn't known; None: they
have none, as sysex) and the reason."""

SEVERAL: Final = 17
"""In place of a channel: they came on several, and how many on which isn't known."""


def in_order(drops: Mapping[tuple[int | None, str], int]) -> Drops:
    """Put counts in the order of their channels, then of `REASONS`."""
    return {name: drops[name] for name in sorted(drops, key=lambda name: (name[0] or 18, REASONS.index(name[1])))}
