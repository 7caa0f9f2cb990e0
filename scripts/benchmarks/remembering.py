"""Steps with memory and time: what a message costs through `delay`, `echo` and `thin`, against one without any.

Real recordings are played at their pace, so that as much is under way as in a performance. The baseline is the same
messages through `transpose` alone, on the same route: there is no script of mido's that keeps order and note-offs.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from typing import Final

from benchmarks import recordings
from benchmarks.figures import Figure
from benchmarks.rulefiles import PORTS, compiled
from benchmarks.timing import Run, by_turns, per_item, ratios
from rules.engine.delivery import Sent
from rules.engine.engine import Engine
from rules.program.pipeline import Pipeline
from rules.smf.report import Playing
from rules.smf.rewriting import Rewriter
from rules.timing.delays import steady_nanoseconds

TICK_NS: Final = 2_000_000
"""How long a tick lasts when a song is fed to the engine: about that of 240 ticks a beat at 125 beats a minute."""

STEPS: Mapping[str, str] = {
    "a delay": "{ delay = 250 }",
    "two delays": "{ delay = 250 }, { delay = { beats = 0.5 } }",
    "a delay and a thin": "{ delay = 250 }, { thin = 20 }",
    "three echoes": "{ echo = { ms = 150, times = 3 } }",
    "a thin": "{ thin = 20 }",
}
"""The steps that are measured, by what they are called."""

_PLAIN: Final = "{ transpose = 2 }"


def rules_of(steps: str) -> str:
    """A rule file with these steps between `seq` and `rack`."""
    return f'{PORTS}[[rules]]\nfrom = "seq"\nsteps = [{steps}]\nto = "rack"\n'


def through_the_engine(quick: bool) -> list[Figure]:
    """Each of the steps over all channel messages of the real songs, fed one by one."""
    played = recordings.channel_messages(quick)[:: 1 if quick else 4]
    songs = [[(message, tick * TICK_NS) for tick, message in song] for song in played]
    count = sum(map(len, songs))
    pipelines = {name: compiled(rules_of(steps))[1] for name, steps in {"": _PLAIN, **STEPS}.items()}
    makers = [_playing(pipeline, songs) for pipeline in pipelines.values()]
    base, *ours = by_turns(3 if quick else 7, *makers)
    return [
        _figure(f"{name}, {count:,} messages through the engine", base, seconds, count, "message")
        for name, seconds in zip(STEPS, ours, strict=True)
    ]


def through_files(quick: bool) -> list[Figure]:
    """Each of the steps over whole files in memory, by the general route, which is the one that knows time."""
    songs = recordings.songs(quick)[:: 1 if quick else 4]
    makers = [_rewriting(steps, songs) for steps in (_PLAIN, *STEPS.values())]
    base, *ours = by_turns(3 if quick else 5, *makers, collects=True)
    rewriter = _rewriter(_PLAIN)
    count = sum(rewriter.rewrite(song).report.messages for song in songs)
    return [
        _figure(f"{name}, {len(songs)} songs, {count:,} messages, general route", base, seconds, count, "message")
        for name, seconds in zip(STEPS, ours, strict=True)
    ]


def _figure(what: str, base: Sequence[float], ours: Sequence[float], count: int, item: str) -> Figure:
    plain = f"transpose {per_item(base, count)} a {item}"
    return Figure(what, ratios(ours, base), "times", None, None, plain, f"{per_item(ours, count)} a {item}")


def _playing(pipeline: Pipeline, songs: Sequence[Sequence[tuple[bytes, int]]]) -> Callable[[], Run]:
    def make() -> Run:
        engines = [Engine(pipeline, steady_nanoseconds(120)) for _ in songs]
        for engine in engines:
            engine.add_player("seq")

        def run() -> None:
            for engine, song in zip(engines, songs, strict=True):
                play(engine, song)

        return run

    return make


def play(engine: Engine, song: Sequence[tuple[bytes, int]]) -> None:
    """Feed messages at their times (ns), then let out what is under way; what comes out is thrown away."""
    out: list[Sent] = []
    feed, clear = engine.feed, out.clear
    for message, now in song:
        feed(0, message, now, out)
        clear()
    engine.advance(song[-1][1] + 60 * 1_000_000_000, out)


def _rewriting(steps: str, songs: Sequence[bytes]) -> Callable[[], Run]:
    rewriter = _rewriter(steps)
    return lambda: lambda: [rewriter.rewrite(song) for song in songs]


def _rewriter(steps: str) -> Rewriter:
    ruleset, pipeline = compiled(rules_of(steps))
    return Rewriter(ruleset, pipeline, Playing("seq"), route="general")
