"""Notes made from a value: on where it crosses to 64. Where it falls below, the ledger ends them."""

from __future__ import annotations

from rules.midi.controllers import SWITCH_ON
from rules.program.node import Node
from rules.program.tables import Evaluation, Place

Name = tuple[int, int, int, int]
"""Player, in-key, status, key."""


def rises(walk: Evaluation, place: Place, up: set[Name], status: int, key: int, value: int) -> bool:
    """Whether a note is made of a value at a place: where it goes up to 64 or more. `up` remembers where it has."""
    walk.heard.append(value >= SWITCH_ON)

    def crosses() -> bool:
        name = (walk.player, walk.in_key, status, key)
        crossing = value >= SWITCH_ON and name not in up
        (up.add if value >= SWITCH_ON else up.discard)(name)
        return crossing

    return not walk.trying and walk.first_time((place, status, key, value), crosses) and not walk.catching_up


def forget_player(up: set[Name], player: int) -> None:
    """A lost source's values are down."""
    up -= {name for name in up if name[0] == player}


class CrossingNode(Node):
    """Takes note-ons whose velocity is the value, 0 included; remembers which are up, by player and in-key."""

    def fresh(self) -> set[Name]:
        """No value is up."""
        return set()

    def take(self, walk: Evaluation, status: int, d1: int, d2: int) -> None:
        """One note for each time the value goes up to 64 or more."""
        if rises(walk, self.place, walk.memory(self), status, d1, d2):
            walk.follow(self.after, status, d1, d2)

    def forget(self, memory: set[Name], player: int) -> None:
        """A lost source's values are down."""
        forget_player(memory, player)
