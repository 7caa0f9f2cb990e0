"""How much memory a file of a million events takes: ours by each route, and the mido script."""

from __future__ import annotations

import json
import subprocess
import sys
import tempfile
from pathlib import Path

from benchmarks.figures import Figure
from benchmarks.timing import ratios

TRACKS = 8
SCRIPTS = Path(__file__).resolve().parent.parent
CHILD = SCRIPTS / "benchmarks/memory_child.py"
MEGABYTE = 1_000_000
SIDES = ("mido", "general", "stream", "patch")
MOST = {"general": 6, "stream": 3, "patch": 3}
"""So many times the file is asked, and FREE on top."""

FREE = 40.0  # MB


def measure(quick: bool) -> list[Figure]:
    """Each side in processes of its own; what the process takes without a file is not counted, but told."""
    events = 100_000 if quick else 1_000_000
    sizes: dict[str, list[float]] = {side: [] for side in SIDES}
    peaks: dict[str, list[float]] = {side: [] for side in SIDES}
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "long.mid"
        path.write_bytes(long_file(events))
        for _ in range(2 if quick else 3):
            for side in SIDES:
                before, peak = _run(side, path)
                sizes[side].append((peak - before) / MEGABYTE)
                peaks[side].append(peak / MEGABYTE)
        size = path.stat().st_size / MEGABYTE
    told = {side: f"{side} {max(sizes[side]):,.0f} MB, whole process {max(peaks[side]):,.0f} MB" for side in SIDES}
    material = f"memory for {events:,} events ({size:.1f} MB)"
    return [
        Figure(
            f"{material}, general route",
            ratios(sizes["general"], sizes["mido"]),
            "of mido's",
            None,
            1 / 3,
            told["mido"],
            told["general"],
        ),
        *(
            Figure(
                f"{material}, {route} route, by the file's size",
                sizes[route],
                "MB",
                None,
                most * size + FREE,
                "",
                told[route],
            )
            for route, most in MOST.items()
        ),
    ]


def long_file(events: int) -> bytes:
    """A format 1 file of so many events: notes, with a controller for every four of them, a channel each track."""
    tracks = []
    for number in range(TRACKS):
        body = bytearray()
        for count in range(events // TRACKS // 5):
            key, velocity = 36 + (7 * count + number) % 49, 20 + 11 * count % 100
            body += bytes((count % 90, 0xB0 | number, 11, velocity))
            body += bytes((0, 0x90 | number, key, velocity, 30, key + 12, velocity))
            body += bytes((60, 0x80 | number, key, 64, 5, key + 12, 64))
        body += bytes((0, 0xFF, 0x2F, 0))
        tracks.append(b"MTrk" + len(body).to_bytes(4) + body)
    return b"MThd" + bytes((0, 0, 0, 6, 0, 1, 0, TRACKS, 0, 96)) + b"".join(tracks)


def _run(side: str, path: Path) -> tuple[int, int]:
    """Bytes before the file is read, and at the most."""
    command = [sys.executable, str(CHILD), side, str(path)]
    done = subprocess.run(command, capture_output=True, text=True, check=True, cwd=SCRIPTS.parent)
    before, peak = json.loads(done.stdout)
    return before, peak
