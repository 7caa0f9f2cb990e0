"""Hands: who plays a source, and what outputs know players by.

What one hand holds, another doesn't let go. Tracks of one source share its hand; a take that plays as a source has a
hand of its own (ruling 37).
"""

from __future__ import annotations

from rules.engine.bookkeeping import Bookkeeping
from rules.engine.endings import write_out
from rules.engine.player import Player
from rules.program.pipeline import Pipeline


class Hands:
    """The players of an engine, by the hands that they belong to."""

    def __init__(self, bookkeeping: Bookkeeping) -> None:
        self._bookkeeping = bookkeeping
        self._players = bookkeeping.players
        self._first: dict[str, int] = {}
        self._count = 0
        self._joined: set[int] = set()

    def add_player(self, source: str, pipeline: Pipeline) -> int:
        """A new stream of messages of a source's first hand; its number. An unknown source leads nowhere."""
        if source not in self._first:
            self._first[source] = self._new()
        return self._add(source, self._first[source], pipeline)

    def add_hand(self, source: str, pipeline: Pipeline) -> int:
        """A new stream of messages of a source, by a hand of its own; its number; it plays from `join` to `part`."""
        return self._add(source, self._new(), pipeline)

    def _new(self) -> int:
        self._count += 1
        return self._count - 1

    def _add(self, source: str, hand: int, pipeline: Pipeline) -> int:
        player = Player(len(self._players), hand, source)
        self._players.append(player)
        self._plug(player, pipeline, self._held_alone(pipeline))
        return player.number

    def is_first(self, player: Player) -> bool:
        """Return whether a player belongs to the first hand of its source."""
        return player.hand == self._first.get(player.name)

    def join(self, number: int, pipeline: Pipeline) -> None:
        """Let a hand of its own play. From now on the hands of its source ask at every output who else is there."""
        self._joined.add(number)
        self._plug_source(self._players[number].name, pipeline)

    def part(self, number: int, pipeline: Pipeline) -> None:
        """Let a hand of its own, which holds nothing, play no more."""
        self._joined.discard(number)
        self._plug_source(self._players[number].name, pipeline)

    def rename(self, old: str, new: str) -> None:
        """Give a source the name that it has in the rules that come next; what its players hold stays (ruling 30)."""
        for player in self._players:
            if player.name == old:
                player.name = new
        if old in self._first:
            self._first[new] = self._first.pop(old)

    def plug_all(self, pipeline: Pipeline) -> None:
        """Connect all players with new rules."""
        held = self._held_alone(pipeline)
        for player in self._players:
            self._plug(player, pipeline, held)

    def _plug_source(self, source: str, pipeline: Pipeline) -> None:
        """Connect the players of a source anew, whose hands have come or gone."""
        players = [player for player in self._players if player.name == source]
        for player in players:
            write_out(self._bookkeeping, player)
        held = self._held_alone(pipeline)
        for player in players:
            self._plug(player, pipeline, held)

    def _plug(self, player: Player, pipeline: Pipeline, held: frozenset[int]) -> None:
        hands_meet = any(self._players[number].name == player.name for number in self._joined)
        player.plug(pipeline, held, hands_meet=hands_meet)

    def _held_alone(self, pipeline: Pipeline) -> frozenset[int]:
        """Return the places where notes are held on channels that no two holders share by the rules of now.

        Their cells don't ask who else is there.
        """
        return self._bookkeeping.merge.held_outside(pipeline.shared)
