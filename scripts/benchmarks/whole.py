"""Whole runs over real recordings, from disk to disk: the waiting counts as well.

Ours does all that `pointsman rewrite` does with a file: reading, the rules, counting, a temporary file of its own,
permissions, the new name, folders flushed. The others read, edit and write, and no more.
"""

from __future__ import annotations

import os
import shutil
import tempfile
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from functools import partial
from pathlib import Path
from typing import Any

import symusic  # type: ignore[import-not-found,import-untyped,unused-ignore]

from benchmarks import recordings, with_mido
from benchmarks.figures import Figure
from benchmarks.rulefiles import EDIT, SHIFT, compiled
from benchmarks.timing import WALL, Run, by_turns, per_item, ratios
from router.batch.job import FileResult, WritingOptions, do_job, start_job
from router.batch.plan import Job
from router.batch.workers import WritingThreads, results
from router.files.disk import DISK, SETTLED_LATER, SettledLater
from rules.program.compiled import COMPILED
from rules.smf.report import Playing
from rules.smf.rewriting import Rewriter

SEMITONES = 2


class Jobs(list[Job]):
    """Jobs in a list."""

    def size(self, at: int) -> int:
        """The bytes of the file of one job."""
        return self[at].size


class Hasty(SettledLater):
    """A disk that nobody waits for."""

    def flush(self, handle: int) -> None:
        """Leave it to the system."""


def measure(quick: bool) -> list[Figure]:
    """Both comparisons."""
    rounds = 5 if quick else 11
    with _copies(quick) as paths:
        count = recordings.events(paths)
        folder = paths[0].parent.parent
        edit, shift = _with_rules(paths, folder), _hastily(paths, folder)
        by_attributes, past_checks, ours = by_turns(
            3 if quick else 7,
            _with_mido(paths, folder, with_mido.edited_by_attributes),
            _with_mido(paths, folder, with_mido.edited),
            edit,
            clock=WALL,
        )
        native, shifted = by_turns(rounds, _with_symusic(paths, folder), shift, clock=WALL)
    material = f"{len(paths)} songs, {count:,} events, disk to disk"
    return [
        *(
            Figure(
                f"an edit of {material}, with fsync{words}",
                ratios(base, ours),
                "times",
                asked,
                baseline=f"mido {per_item(base, count)} an event",
                ours=f"{per_item(ours, count)} an event",
            )
            for base, words, asked in (
                (by_attributes, "", 55 if COMPILED else 12),
                (past_checks, ", against a script past mido's checks", None),
            )
        ),
        Figure(
            f"transposing {material}, neither with fsync",
            ratios(native, shifted),
            "times",
            1.2 if COMPILED else None,
            baseline=f"symusic {per_item(native, count)} an event",
            ours=f"{per_item(shifted, count)} an event",
        ),
    ]


@contextmanager
def _copies(quick: bool) -> Iterator[list[Path]]:
    """The songs in a folder of their own, so that all sides write to the same disk."""
    with tempfile.TemporaryDirectory() as folder:
        songs = Path(folder) / "songs"
        songs.mkdir()
        paths = []
        for number, song in enumerate(recordings.songs(quick)):
            paths.append(songs / f"{number:03}.mid")
            paths[-1].write_bytes(song)
        yield paths


def _fresh(folder: Path) -> Path:
    out = folder / "out"
    shutil.rmtree(out, ignore_errors=True)
    out.mkdir()
    return out


def _with_rules(paths: list[Path], folder: Path) -> Callable[[], Run]:
    """All of it as the command does it: the next files are rewritten while the disk writes."""
    here = partial(start_job, rewriter=_rewriter(EDIT), options=WritingOptions(), disk=SETTLED_LATER)

    def make() -> Run:
        out = _fresh(folder)
        jobs = Jobs(Job(path, out / path.name, path.stat().st_size) for path in paths)

        def run() -> None:
            with WritingThreads() as writers:
                for _, result in results(jobs, here, lambda: here, 1, writers):
                    _require_good(result)
            DISK.settle(out)

        return run

    return make


def _hastily(paths: list[Path], folder: Path) -> Callable[[], Run]:
    """One file after the other, as there is nothing to wait for."""
    rewriter, disk = _rewriter(SHIFT), Hasty()

    def make() -> Run:
        out = _fresh(folder)
        jobs = [Job(path, out / path.name, path.stat().st_size) for path in paths]

        def run() -> None:
            for job in jobs:
                _require_good(do_job(job, rewriter, WritingOptions(), disk))

        return run

    return make


def _rewriter(rules: str) -> Rewriter:
    ruleset, pipeline = compiled(rules)
    return Rewriter(ruleset, pipeline, Playing("seq"))


def _require_good(result: FileResult) -> None:
    if not result.is_good:
        raise SystemExit(f"{result.source} was not rewritten")


def _with_mido(paths: list[Path], folder: Path, edited: Callable[[bytes], bytes]) -> Callable[[], Run]:
    def make() -> Run:
        out = _fresh(folder)

        def run() -> None:
            for path in paths:
                with open(out / path.name, "wb") as file:
                    file.write(edited(path.read_bytes()))
                    file.flush()
                    os.fsync(file.fileno())

        return run

    return make


def _with_symusic(paths: list[Path], folder: Path) -> Callable[[], Run]:
    def make() -> Run:
        out = _fresh(folder)

        def run() -> None:
            for path in paths:
                score: Any = symusic.Score(path)
                score.shift_pitch(SEMITONES, inplace=True)
                score.dump_midi(out / path.name)

        return run

    return make
