"""Players without an engine."""

from __future__ import annotations

from rules.engine.player import Player
from rules.program.pipeline import Pipeline


def plugged(name: str, pipeline: Pipeline, number: int = 0) -> Player:
    """The player of a source, where nothing is held yet."""
    player = Player(number, number, name)
    player.plug(pipeline, frozenset())
    return player
