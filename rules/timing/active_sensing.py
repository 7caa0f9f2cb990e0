"""Active sensing: a source that has promised to be heard, and isn't, is lost.

A sender of FE sends something at least every 300 ms (MIDI 1.0 Detailed Specification 4.2.1, p. 32). We wait longer, so
that a busy computer ends no notes (ruling 27).
"""

from __future__ import annotations

from typing import Final

from rules.timing.delays import NANOSECONDS_PER_MS, NEVER

PATIENCE_NS: Final = 500 * NANOSECONDS_PER_MS
"""How long (ns) a source may be silent after its first FE."""


class Sensing:
    """Who has sent active sensing, and when each was heard last. `due` is when to look again; NEVER for nobody."""

    __slots__ = ("_heard", "due")

    def __init__(self) -> None:
        self._heard: dict[int, int] = {}
        self.due = NEVER

    def promise(self, player: int, now: int) -> None:
        """Expect a player, who sent FE, to be heard from now on."""
        self._heard[player] = now
        self.due = min(self.due, now + PATIENCE_NS)

    def hear(self, player: int, now: int) -> None:
        """Note that a player was heard."""
        if player in self._heard:
            self._heard[player] = now

    def forget(self, player: int) -> None:
        """Expect nothing more of a player whose port has gone."""
        self._heard.pop(player, None)

    def lost(self) -> list[int]:
        """Return the players that are lost at the time `due`, and set the next `due`. They are forgotten until the next
        FE."""
        gone = [player for player, heard in self._heard.items() if heard + PATIENCE_NS <= self.due]
        for player in gone:
            del self._heard[player]
        self.due = min((heard + PATIENCE_NS for heard in self._heard.values()), default=NEVER)
        return gone
