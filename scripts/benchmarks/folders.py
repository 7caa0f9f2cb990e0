"""A folder of real recordings through the command, as a whole process: how much faster with more workers."""

from __future__ import annotations

import os
import shutil
import subprocess
import tempfile
from collections.abc import Callable
from pathlib import Path
from statistics import median

from benchmarks import recordings
from benchmarks.figures import Curve, Figure
from benchmarks.rulefiles import EDIT
from benchmarks.start import COMMAND, ROOT
from benchmarks.timing import WALL, Run, by_turns, ratios

FILES = 2_000


def measure(quick: bool) -> list[Figure]:
    """Two workers against one, and a curve of as many as there are cores, and one more."""
    files = FILES // 10 if quick else FILES
    cores = len(os.sched_getaffinity(0))
    counts = sorted({1, 2, *(2**power for power in range(7) if 2**power <= cores), cores, cores + 1})
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        (folder / "bench.toml").write_text(EDIT, encoding="utf-8")
        _copy(recordings.songs(quick=False), files, folder / "songs")
        by_turns(1, _rewriting(folder, 2), clock=WALL)  # brings the files from the disk into memory
        every = by_turns(2 if quick else 3, *(_rewriting(folder, workers) for workers in counts), clock=WALL)
    seconds = dict(zip(counts, every, strict=True))
    return [
        Figure(
            f"a folder of {files:,} songs, 2 workers against 1",
            ratios(seconds[1], seconds[2]),
            "times",
            1.7,
            baseline=f"1 worker {median(seconds[1]):.3g} s",
            ours=f"2 workers {median(seconds[2]):.3g} s",
            curve=_curve({workers: files / median(times) for workers, times in seconds.items()}),
        )
    ]


def _copy(songs: list[bytes], files: int, to: Path) -> None:
    """The songs again and again, a folder for each round."""
    for number in range(files):
        folder = to / f"{number // len(songs):03}"
        folder.mkdir(parents=True, exist_ok=True)
        (folder / f"{number % len(songs):03}.mid").write_bytes(songs[number % len(songs)])


def _rewriting(folder: Path, workers: int) -> Callable[[], Run]:
    out = folder / "out"
    paths = [str(folder / "bench.toml"), str(folder / "songs"), "-o", str(out)]
    command = [*COMMAND, "rewrite", *paths, "--from", "seq", "--jobs", str(workers), "--quiet"]

    def make() -> Run:
        shutil.rmtree(out, ignore_errors=True)
        return lambda: subprocess.run(command, check=True, cwd=ROOT)

    return make


def _curve(rates: dict[int, float]) -> Curve:
    cores = len(os.sched_getaffinity(0))
    ideal = [(workers, rates[1] * min(workers, cores)) for workers in rates]
    return Curve(
        "files-by-workers",
        "Files a second, by the number of workers",
        f"workers, on {cores} cores",
        "files a second",
        {"measured": list(rates.items()), "in proportion": ideal},
        ideal=True,
    )
