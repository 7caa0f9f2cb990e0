"""Notes made from a value: on where it crosses to 64, off where it falls below."""

from __future__ import annotations

from collections.abc import Callable
from typing import TYPE_CHECKING, Any

from rules.messages import NOTE_OFF, OFF_VELOCITY, SWITCH_ON
from rules.nodes.base import Node

if TYPE_CHECKING:
    from rules.walk import Walk


class GateNode(Node):
    """Takes note-ons whose velocity is the value, 0 included; remembers which are on, by player and in-key."""

    def __init__(self) -> None:
        super().__init__()
        self._on: set[tuple[int, int, int, int]] = set()

    def take(self, walk: Walk, status: int, d1: int, d2: int) -> None:
        """One note for each time the value goes up to 64 or more."""
        if walk.trying:
            return
        name = (walk.player, walk.in_key, status, d1)
        if d2 >= SWITCH_ON and name not in self._on:
            self._on.add(name)
            walk.follow(self.after, status, d1, d2)
        elif d2 < SWITCH_ON and name in self._on:
            self._on.discard(name)
            walk.follow(self.after, status & 0x0F | NOTE_OFF, d1, OFF_VELOCITY)

    def adopt(self, old: Any, reword: Callable[[int], int]) -> None:
        """What is on stays on."""
        self._on |= old._on

    def forget(self, player: int) -> None:
        """A lost source's notes are off."""
        self._on = {name for name in self._on if name[0] != player}
