"""An edit of whole files in memory, by both routes, against a mido script."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from io import BytesIO

from mido import MidiFile  # type: ignore[import-untyped]

from benchmarks import recordings, with_mido
from benchmarks.figures import Figure
from benchmarks.rulefiles import EDIT, ONE_CHANNEL, compiled
from benchmarks.timing import Run, by_turns, per_item, ratios
from rules.smf.reading import read
from rules.smf.rewriting import Playing, Rewriter


def measure(quick: bool) -> list[Figure]:
    """The figures, over all songs together."""
    songs = recordings.songs(quick)
    stream, general = _rewriter(EDIT, "stream"), _rewriter(EDIT, "general")
    one_channel = _rewriter(ONE_CHANNEL, "general")
    for song in songs:
        for rewriter in (stream, general):
            _require_same_work(song, rewriter)
    count = sum(_events(song) for song in songs)
    base, *ours = by_turns(
        3 if quick else 7,
        lambda: lambda: [with_mido.edited(song) for song in songs],
        *(_rewriting(rewriter, songs) for rewriter in (stream, general, one_channel)),
    )
    material = f"{len(songs)} songs, {count:,} events"
    whats = (
        f"edit of {material}, stream route",
        f"edit of {material}, general route",
        "the songs on one channel, general",
    )
    taken = (_route(stream, songs[0]), "general", "general")
    return [
        Figure(
            what,
            ratios(base, seconds),
            "times",
            asked,
            baseline=f"mido {per_item(base, count)} an event",
            ours=f"{route} {per_item(seconds, count)} an event",
        )
        for what, asked, route, seconds in zip(whats, (12, 6, None), taken, ours, strict=True)
    ]


def _rewriter(rules: str, route: str) -> Rewriter:
    ruleset, pipeline = compiled(rules)
    return Rewriter(ruleset, pipeline, Playing("seq"), route=route)


def _rewriting(rewriter: Rewriter, songs: list[bytes]) -> Callable[[], Run]:
    return lambda: lambda: [rewriter.rewrite(song) for song in songs]


def _route(rewriter: Rewriter, song: bytes) -> str:
    return rewriter.rewrite(song).report.route


def _require_same_work(song: bytes, rewriter: Rewriter) -> None:
    """Both sides must come to the same events, or the comparison says nothing."""
    if list(_seen(rewriter.rewrite(song).outputs[""])) != list(_seen(with_mido.edited(song))):
        raise SystemExit("ours and mido's result differ: not the same work")


def _seen(data: bytes) -> Iterator[tuple[int, object]]:
    for track in MidiFile(file=BytesIO(data)).tracks:
        tick = 0
        for message in track:
            tick += message.time
            yield tick, {**vars(message), "time": 0}


def _events(data: bytes) -> int:
    file = read(data)
    return sum(1 for track in file.tracks for _ in file.events(track))
