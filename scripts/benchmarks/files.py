"""Edits of whole files in memory, by every route, against mido scripts."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from io import BytesIO

from mido import MidiFile  # type: ignore[import-untyped]

from benchmarks import recordings, remembering, with_mido
from benchmarks.figures import Figure
from benchmarks.rulefiles import EDIT, IN_PLACE, compiled
from benchmarks.timing import Run, by_turns, per_item, ratios
from rules.program.compiled import COMPILED
from rules.smf.midi_file import read
from rules.smf.report import Playing
from rules.smf.rewriting import Rewriter

Script = Callable[[bytes], bytes]

EDITS: list[tuple[str, str, str, Script, Script, tuple[float, float]]] = [
    (
        "patch",
        "an edit in place",
        IN_PLACE,
        with_mido.edited_in_place_by_attributes,
        with_mido.edited_in_place,
        (18, 500),
    ),
    ("stream", "an edit with drops", EDIT, with_mido.edited_by_attributes, with_mido.edited, (12, 300)),
    ("general", "an edit with drops", EDIT, with_mido.edited_by_attributes, with_mido.edited, (6, 40)),
]
"""Route, edit, its rules, as scripts by attributes and past mido's checks, and what is asked: plain and compiled."""


def measure(quick: bool) -> list[Figure]:
    """The figures, over all songs together."""
    songs = recordings.songs(quick)
    count = sum(_events(song) for song in songs)
    figures = []
    for route, what, rules, usual, unchecked, asked in EDITS:
        rewriter = _rewriter(rules, route)
        for song in songs:
            _require_same_work(song, rewriter, usual, unchecked)
        # as a script runs: the garbage collector works as Python has it
        by_attributes, past_checks, ours = by_turns(
            3 if quick else 7,
            _running(usual, songs),
            _running(unchecked, songs),
            _running(rewriter.rewrite, songs),
            collects=True,
        )
        told = f"{_route(rewriter, songs[0])} {per_item(ours, count)} an event"
        name = f"{what}, {len(songs)} songs, {count:,} events, {route} route"
        for base, words, wanted in (
            (by_attributes, "", asked[COMPILED]),
            (past_checks, ", against a script past mido's checks", None),
        ):
            baseline = f"mido {per_item(base, count)} an event"
            figures.append(Figure(name + words, ratios(base, ours), "times", wanted, baseline=baseline, ours=told))
    return figures + remembering.through_files(quick)


def _rewriter(rules: str, route: str) -> Rewriter:
    ruleset, pipeline = compiled(rules)
    return Rewriter(ruleset, pipeline, Playing("seq"), route=route)


def _running(edit: Callable[[bytes], object], songs: list[bytes]) -> Callable[[], Run]:
    return lambda: lambda: [edit(song) for song in songs]


def _route(rewriter: Rewriter, song: bytes) -> str:
    return rewriter.rewrite(song).report.route


def _require_same_work(song: bytes, rewriter: Rewriter, *scripts: Script) -> None:
    """All sides must come to the same events, or the comparison says nothing."""
    ours = list(_seen(rewriter.rewrite(song).outputs[""]))
    if any(list(_seen(script(song))) != ours for script in scripts):
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
