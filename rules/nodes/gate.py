"""Notes made from a value: on where it crosses to 64, off where it falls below."""

from __future__ import annotations

from typing import TYPE_CHECKING

from rules.messages import NOTE_OFF, OFF_VELOCITY, SWITCH_ON
from rules.nodes.base import Node

if TYPE_CHECKING:
    from rules.walk import Walk


Name = tuple[int, int, int, int]
"""Player, in-key, status, key."""


class GateNode(Node):
    """Takes note-ons whose velocity is the value, 0 included; remembers which are on, by player and in-key."""

    def fresh(self) -> set[Name]:
        """Nothing is on."""
        return set()

    def may_follow(self, status: int, firsts: int) -> list[tuple[int, int]]:
        """Note-ons and their note-offs."""
        return [(status, firsts), (status & 0x0F | NOTE_OFF, firsts)]

    def take(self, walk: Walk, status: int, d1: int, d2: int) -> None:
        """One note for each time the value goes up to 64 or more."""
        if walk.trying or walk.catching_up:
            return
        on: set[Name] = walk.memory(self)
        name = (walk.player, walk.in_key, status, d1)
        if d2 >= SWITCH_ON and name not in on:
            on.add(name)
            walk.follow(self.after, status, d1, d2)
        elif d2 < SWITCH_ON and name in on:
            on.discard(name)
            walk.follow(self.after, status & 0x0F | NOTE_OFF, d1, OFF_VELOCITY)

    def forget(self, memory: set[Name], player: int) -> None:
        """A lost source's notes are off."""
        memory -= {name for name in memory if name[0] == player}
