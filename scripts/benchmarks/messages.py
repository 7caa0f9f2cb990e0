"""Single messages through the engine with its ledger, against a loop over mido messages."""

from __future__ import annotations

from collections.abc import Callable, Sequence

from benchmarks import recordings, remembering, with_mido
from benchmarks.figures import Figure
from benchmarks.rulefiles import EDIT, EDIT_OF_TWO, ONE_CHANNEL, compiled
from benchmarks.timing import Run, by_turns, per_item, ratios
from rules.engine.delivery import Sent
from rules.engine.engine import Engine
from rules.program.compiled import COMPILED
from rules.program.pipeline import Pipeline
from rules.timing.delays import steady_nanoseconds

Fed = tuple[int, bytes, int]
"""Player, message, time: what the engine is fed."""


def measure(quick: bool) -> list[Figure]:
    """The figures, over all channel messages of the real songs."""
    rounds = 5 if quick else 11
    songs = recordings.channel_messages(quick)
    alone = [[(0, message, tick) for tick, message in song] for song in songs]
    # odd channels come from one source, even ones from the other
    both = [[(message[0] & 1, message, tick) for tick, message in song] for song in songs]
    return [
        _compare("an edit", EDIT, ["seq"], alone, with_mido.edit_each, 22 if COMPILED else 8, rounds),
        _compare("the same past mido's checks", EDIT, ["seq"], alone, with_mido.edit_each_unchecked, None, rounds),
        _compare(
            "the edit, two sources merged",
            EDIT_OF_TWO,
            ["seq", "keys"],
            both,
            with_mido.edit_each,
            None if COMPILED else 6,
            rounds,
        ),
        _compare("all onto one channel", ONE_CHANNEL, ["seq", "keys"], both, with_mido.move_each, None, rounds),
        *remembering.through_the_engine(quick),
    ]


def _compare(
    what: str,
    rules: str,
    sources: Sequence[str],
    songs: Sequence[Sequence[Fed]],
    baseline: Callable[[Sequence[bytes]], None],
    asked: float | None,
    rounds: int,
) -> Figure:
    _, pipeline = compiled(rules)
    messages = [message for song in songs for _, message, _ in song]
    base, ours = by_turns(
        rounds,
        lambda: lambda: baseline(messages),
        lambda: _feeding(pipeline, sources, songs),
    )
    count = len(messages)
    return Figure(
        f"{what}, {count:,} messages through the engine",
        ratios(base, ours),
        "times",
        asked,
        None,
        f"mido {per_item(base, count)} a message",
        f"{per_item(ours, count)} a message",
    )


def _feeding(pipeline: Pipeline, sources: Sequence[str], songs: Sequence[Sequence[Fed]]) -> Run:
    """Every song through an engine of its own."""
    engines = []
    for _ in songs:
        engine = Engine(pipeline, steady_nanoseconds(120))
        for source in sources:
            engine.add_player(source)
        engines.append(engine)

    def run() -> None:
        for engine, song in zip(engines, songs, strict=True):
            feed_all(engine, song)

    return run


def feed_all(engine: Engine, messages: Sequence[Fed]) -> None:
    """Feeds messages; what comes out is taken away after each."""
    out: list[Sent] = []
    feed, clear = engine.feed, out.clear
    for player, message, now in messages:
        feed(player, message, now, out)
        clear()
