#!/usr/bin/env python3
"""Lets the clock of the daemon run for minutes over a realtime JACK server, and holds its messages against the grid.

The grid is ideal: so many quarter notes a minute, with the constant delay of the way taken off. Printed are how far
clock messages lie from it, and how far the clock has drifted from the first minute (or third) to the last. A message
leaves at the head of a period of the server, so it can't be nearer than half a period. The exit code is 1 where more is
off than half a period and 0.3 ms in 99 of 100, where it drifts by more than 0.1 ms, or where a clock message is missing
that the server hasn't dropped.
"""

from __future__ import annotations

import argparse
import os
import signal
import subprocess
import sys
import tempfile
import time
from collections.abc import Sequence
from importlib import import_module
from pathlib import Path
from statistics import fmean, median
from typing import Any

ROOT = Path(__file__).resolve().parents[2]
sys.path[:0] = [str(ROOT), str(ROOT / "scripts")]

from tests.live.daemon import Daemon  # noqa: E402
from tests.live.server import JackServer, until  # noqa: E402

RATE = 48_000  # frames a second of the server
LISTEN = "listen"
CLOCK = 0xF8
ALLOWED_MS = 0.3
DRIFT_MS = 0.1


def listen() -> None:
    """Print when each clock message comes (microseconds of the server, since the first)."""
    rtmidi: Any = import_module("rtmidi")
    port = rtmidi.MidiIn(rtmidi.API_UNIX_JACK, name="Drums", queue_size_limit=16_384)
    port.ignore_types(sysex=False, timing=False, active_sense=False)
    port.open_virtual_port("port")
    print("ready", flush=True)
    at = 0.0
    while True:
        received = port.get_message()
        if received is None:
            time.sleep(0.02)
            continue
        message, since = received
        at += since
        if message[0] == CLOCK:
            print(round(at * 1e6), flush=True)


def heard(rules: str, frames: int, minutes: float) -> tuple[list[int], int, bool]:
    """Return when clock messages came, how many periods the server dropped, and whether it is realtime."""
    with tempfile.TemporaryDirectory() as folder, JackServer.running(frames, Path(folder) / "jackd.log") as server:
        for variable in ("XDG_RUNTIME_DIR", "XDG_STATE_HOME"):
            server.environment[variable] = os.environ[variable] = folder
        os.environ.update(JACK_DEFAULT_SERVER=server.name)
        written = Path(folder) / "times"
        with written.open("w") as file:
            listener = subprocess.Popen([sys.executable, __file__, LISTEN], env=server.environment, stdout=file)
        try:
            until(lambda: written.read_text().startswith("ready"), "the listener opens")
            daemon = Daemon(server.environment, Path(folder), rules)
            try:
                daemon.has_opened("drums")
                time.sleep(5 + 60 * minutes)
                daemon.signal(signal.SIGTERM)  # a daemon that was started in the background ignores Ctrl-C
                daemon.ends()
            finally:
                daemon.kill()
        finally:
            listener.kill()
            listener.wait()
        dropped = (Path(folder) / "jackd.log").read_text(encoding="utf-8", errors="replace").count("XRun")
        times = [int(line) for line in written.read_text().split()[1:]]
        return times, dropped, server.is_realtime


def residuals(times: Sequence[int], interval: float) -> tuple[list[float], int]:
    """Return how far each clock message is from the grid (ms, constant offset removed), and how many are missing."""
    places: list[int] = []
    begin = float(times[0])
    for came in times:  # each by itself: one that came late must not move those behind it
        place = round((came - begin) / interval)
        begin += (came - begin - place * interval) / 100  # clocks drift
        places.append(place)
    off = [came - place * interval for came, place in zip(times, places, strict=True)]
    middle = median(off)
    missing = places[-1] - places[0] + 1 - len(set(places))
    return [(each - middle) / 1e3 for each in off], missing


def share(values: Sequence[float], part: float) -> float:
    """The value that so large a part of them doesn't exceed."""
    return sorted(values)[min(len(values) - 1, int(part * len(values)))]


def main(arguments: list[str]) -> int:
    if arguments == [LISTEN]:
        listen()
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("minutes", nargs="?", type=float, default=30, help="how long (30)")
    parser.add_argument("--bpm", type=float, default=120, help="the tempo (120)")
    parser.add_argument("--frames", type=int, default=128, help="a period of the server (128)")
    asked = parser.parse_args(arguments)
    rules = f'[clock]\nbpm = {asked.bpm}\n[ports]\ndrums = {{ output = "Drums*", clock = "own" }}\n'
    times, dropped, is_realtime = heard(rules, asked.frames, asked.minutes)
    interval = 60e6 / asked.bpm / 24
    times = times[round(3e6 / interval) :]  # while programs start, the server has more to do
    off, missing = residuals(times, interval)
    part = min(round(60e6 / interval), len(off) // 3)
    drift = fmean(off[-part:]) - fmean(off[:part])
    distances = [abs(each) for each in off]
    allowed = asked.frames / RATE * 1e3 / 2 + ALLOWED_MS
    kind = "realtime" if is_realtime else "without realtime rights"
    print(f"{len(times):,} clock messages at {asked.bpm:g} BPM, JACK {kind}, periods of {asked.frames} frames:")
    print(f"  off the grid: half within {median(distances):.3f} ms, 99 % within {share(distances, 0.99):.3f} ms")
    print(f"  at most {max(distances):.3f} ms; allowed in 99 of 100: {allowed:.3f} ms")
    print(f"  drift, from the first {part:,} to the last {part:,}: {drift:+.4f} ms")
    print(f"  missing: {missing}; periods dropped by the server: {dropped}")
    return 1 if share(distances, 0.99) > allowed or abs(drift) > DRIFT_MS or missing > dropped else 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
