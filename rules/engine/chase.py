"""`chase`: the last values, kept for rules that want them once their `when` turns true (ruling 25)."""

from __future__ import annotations

from itertools import product

from rules.engine.bookkeeping import Bookkeeping
from rules.engine.delivery import Sent
from rules.engine.evaluation import Evaluation, EvaluationHost
from rules.engine.player import Player
from rules.midi.messages import CONTROLLER, KIND_OF_STATUS, split_message
from rules.midi.neutral import is_at_rest, rest_place
from rules.program.event import Event, Family
from rules.program.pipeline import ChasedBranch, Pipeline
from rules.program.tables import in_key_of

ChasedThings = frozenset[int | str]
"""Controllers by number, and kinds of message."""


def chased_by(pipeline: Pipeline) -> ChasedThings:
    """Return what some rule wants to chase."""
    return frozenset(thing for branch in pipeline.branches for thing in branch.chase)


def keep_values(
    host: EvaluationHost, pipeline: Pipeline, things: ChasedThings, player: Player, evaluation: Evaluation, word: int
) -> None:
    """Keep the message behind each of the things that arrives at the rules. `word` is what the switches were at."""
    message = evaluation.start.message
    arrived = [] if evaluation.consumed else [message]
    table = pipeline.arrivals[player.source] if player.plugged else None
    if table is not None:
        start = evaluation.start.derived(message)
        start.family = Family(word)
        start.word = word
        trial = Evaluation(host, start, table, evaluation.now, evaluation.out)
        trial.trying = trial.through = True
        trial.run()
        arrived = [event.message for event in trial.events]
    for status, first, *_ in arrived:
        kind = status & 0xF0
        thing = first if kind == CONTROLLER else KIND_OF_STATUS[kind]
        if thing in things:
            player.known[thing, status & 0x0F] = message
            player.past.discard((thing, status & 0x0F))


def known_places(player: Player, things: tuple[int | str, ...]) -> list[tuple[int | str, int]]:
    """Of which of the things a value was kept of a player: by thing, then by channel."""
    return [place for place in product(things, range(16)) if place in player.known]


def play_last_values(
    bookkeeping: Bookkeeping, branch: ChasedBranch, word: int, now: int, out: list[Sent], only: int = -1
) -> None:
    """Play the last values that a branch wants, as if they came now, where the switches are at `word`.

    With `only`, they are for one port, and go past nodes that would keep them. Nobody holds a pedal at a source that is
    lost: of what came before that, only what ends as something that holds nothing goes out, past such nodes as well.
    """
    for player in bookkeeping.players:
        if player.source != branch.source:
            continue
        for place in known_places(player, branch.chase):
            message = player.known[place]
            status, first, second = split_message(message)
            in_key = in_key_of(status, first)
            start = Event(player.number, player.hand, in_key, message, now, Family(word))
            start.known = True
            evaluation = Evaluation(bookkeeping.host, start, player.table, now, out)
            evaluation.through = only >= 0 or place in player.past
            evaluation.follow(branch.table, start, status, first, second)
            if only >= 0:
                evaluation.events = [event for event in evaluation.events if event.target == only]
            if place in player.past:
                evaluation.events = [event for event in evaluation.events if not _holds(event.message)]
            bookkeeping.enter_values(player.ledger, in_key, evaluation, out)


def _holds(message: bytes) -> bool:
    """Return whether a message is away from rest, so that somebody has to bring it back."""
    return rest_place(0, message) is not None and not is_at_rest(message, fully=True)
