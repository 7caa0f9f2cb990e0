#!/usr/bin/env python3
"""Plays the demo recording through rules in real time, records what comes out again, and compares it with `rewrite`.

A JACK server of its own, the daemon, the command `play`, and a recorder of two virtual ports in a process of its own.
An output must get the same messages as `rewrite --per-port` writes for it; their times, less the constant way between
the processes, are compared one by one: the n-th of its kind with the n-th in the file. Prints counts and times; a
message that is missing or too many is printed, and the exit code is 1. Takes three minutes.
"""

from __future__ import annotations

import argparse
import os
import signal
import subprocess
import sys
import tempfile
import time
from collections import defaultdict
from collections.abc import Iterator, Mapping, Sequence
from contextlib import ExitStack
from pathlib import Path

ROOT = Path(__file__).resolve().parents[2]
sys.path[:0] = [str(ROOT), str(ROOT / "scripts")]

from endurance.processes import schedule, within  # noqa: E402
from rules.midi.messages import SYSEX  # noqa: E402
from rules.midi.neutral import ends_held  # noqa: E402
from rules.playback.live_messages import LiveMessages  # noqa: E402
from rules.smf.midi_file import MidiFile, read  # noqa: E402
from rules.smf.tempo import tempo_map  # noqa: E402
from rules.smf.track_events import META  # noqa: E402
from rules.smf.track_sources import track_name  # noqa: E402
from tests.live.daemon import NAME, Daemon  # noqa: E402
from tests.live.server import JackServer, kind_of_server  # noqa: E402

RULES = """
[ports]
take = { input = "Recorder of no one*" }
tune = { output = "*Tune" }
band = { output = "*Band" }
[[rules]]
name = "tune"
from = "take"
match = { channel = 11 }
steps = [{ transpose = -12 }, { velocity = { limit = "30..110" } }, { delay = 30 }]
to = "tune"
[[rules]]
name = "all the rest"
from = "take"
otherwise = true
to = "band"
"""
FRAMES = 128
"""A period of the server: 2.7 ms."""
OUTPUTS = {"tune": "Tune in", "band": "Band in"}

Timed = tuple[float, bytes]
"""Milliseconds, message."""


def messages_of(file: MidiFile, wanted: str = "") -> list[Timed]:
    """The messages of a file, or of its track of a name, in the order of playing."""
    times = tempo_map(file)
    found: list[tuple[int, int, bytes]] = []
    for number, track in enumerate(file.tracks):
        live = LiveMessages()
        if not wanted or track_name(file, number) == wanted:
            for tick, _, _, _, event in file.events(track):
                if event[0] != META:
                    found += [(tick, number, message) for message in live.of_event(event)]
    found.sort(key=lambda each: each[:2])
    return [(float(times.milliseconds(tick)), message) for tick, _, message in found if message[0] <= SYSEX]


def command(environment: Mapping[str, str], *arguments: str) -> subprocess.Popen[bytes]:
    return subprocess.Popen([sys.executable, "-m", "router", *arguments], cwd=ROOT, env=environment)


def played_again(folder: Path, take: Path, priority: int) -> tuple[MidiFile, float]:
    """The recording of what came out, and how long that took (s). The recorder has a realtime `priority`, or 0."""
    with ExitStack() as closing:
        server = closing.enter_context(JackServer.running(FRAMES))
        os.environ["XDG_RUNTIME_DIR"] = str(folder)  # where the daemon is asked
        environment = {**server.environment, "XDG_RUNTIME_DIR": str(folder)}
        recorded = folder / "again.mid"
        ports = ["--virtual", "Tune", "--virtual", "Band"]
        schedule(priority)
        recorder = command(environment, "record", *ports, "--backend", "jack", "-o", str(recorded))
        schedule(0)
        closing.callback(recorder.kill)
        daemon = Daemon(environment, folder, RULES)
        closing.callback(daemon.kill)
        daemon.has_opened("tune", "band")
        began = time.monotonic()
        if command(environment, "play", str(take), "--as", "take", "--name", NAME).wait():
            raise SystemExit("the take could not be played")
        took = time.monotonic() - began
        time.sleep(1)
        daemon.leave()
        recorder.send_signal(signal.SIGINT)
        recorder.wait()
        if not within(10, recorded.exists):
            raise SystemExit("nothing was recorded")
        return read(recorded.read_bytes()), took


def differences(expected: Sequence[Timed], heard: Sequence[Timed]) -> Iterator[float]:
    """How much later (ms) each expected message was heard, the n-th of its kind with the n-th."""
    times: dict[bytes, list[float]] = defaultdict(list)
    for at, message in heard:
        times[message].append(at)
    seen: dict[bytes, int] = defaultdict(int)
    for at, message in expected:
        if seen[message] < len(times[message]):
            yield times[message][seen[message]] - at
        seen[message] += 1


def faults(expected: Sequence[Timed], heard: Sequence[Timed]) -> Iterator[str]:
    """What is missing, and what is too many, but for what ends what the file never ends."""
    left: dict[bytes, int] = defaultdict(int)
    for _, message in expected:
        left[message] += 1
    for _, message in heard:
        left[message] -= 1
    for message, many in left.items():
        if many > 0:
            yield f"{many} missing: {message.hex(' ')}"
        elif many < 0 and not ends_held(message):
            yield f"{-many} too many: {message.hex(' ')}"


def main() -> int:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("take", type=Path, nargs="?", default=ROOT / "examples/recording.mid")
    parser.add_argument("--priority", type=int, default=0, help="record in real time (1-99), on a busy computer")
    arguments = parser.parse_args()
    take = arguments.take
    wrong = 0
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        (folder / "rules.toml").write_text(RULES)
        rewriting = ["rewrite", str(folder / "rules.toml"), str(take), "-o", str(folder / "out")]
        rewriting += ["--per-port", "--quiet"]
        subprocess.run([sys.executable, "-m", "router", *rewriting], cwd=ROOT, check=True)
        recorded, took = played_again(folder, take, arguments.priority)
        print(f"played in {took:.1f} s; JACK server {kind_of_server()}")
        for output, track in OUTPUTS.items():
            (written,) = (folder / "out").glob(f"*.{output}.mid")
            expected, heard = messages_of(read(written.read_bytes())), messages_of(recorded, track)
            later = sorted(differences(expected, heard))
            middle = later[len(later) // 2]
            off = sorted(abs(each - middle) for each in later)
            found = list(faults(expected, heard))
            wrong += len(found)
            extra = len(heard) - len(expected)
            print(f"{output}: {len(expected):,} messages expected, {len(heard):,} heard ({extra} end what was held)")
            half, most = (off[int(len(off) * part)] for part in (0.5, 0.99))
            print(f"  constant offset removed: p50 {half:.2f}, p99 {most:.2f}, worst {off[-1]:.2f} ms")
            for line in found[:20]:
                print(f"  {line}")
    return 1 if wrong else 0


if __name__ == "__main__":
    sys.exit(main())
