"""Notes made from a value: on where it crosses to 64. Where it falls below, the ledger ends them."""

from __future__ import annotations

from typing import TYPE_CHECKING

from rules.messages import SWITCH_ON
from rules.nodes.base import Node

if TYPE_CHECKING:
    from rules.walk import Walk


Name = tuple[int, int, int, int]
"""Player, in-key, status, key."""


class GateNode(Node):
    """Takes note-ons whose velocity is the value, 0 included; remembers which are up, by player and in-key."""

    def fresh(self) -> set[Name]:
        """No value is up."""
        return set()

    def take(self, walk: Walk, status: int, d1: int, d2: int) -> None:
        """One note for each time the value goes up to 64 or more."""
        walk.heard.append(d2 >= SWITCH_ON)

        def crosses() -> bool:
            up: set[Name] = walk.memory(self)
            name = (walk.player, walk.in_key, status, d1)
            crossing = d2 >= SWITCH_ON and name not in up
            (up.add if d2 >= SWITCH_ON else up.discard)(name)
            return crossing

        if not walk.trying and walk.first_time((self.place, status, d1, d2), crosses) and not walk.catching_up:
            walk.follow(self.after, status, d1, d2)

    def forget(self, memory: set[Name], player: int) -> None:
        """A lost source's values are down."""
        memory -= {name for name in memory if name[0] == player}
