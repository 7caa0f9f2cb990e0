"""What the page costs the music, and how soon and how large it is."""

from __future__ import annotations

import http.client
import json
import socket
import sys
import time
from collections.abc import Iterator, Sequence
from contextlib import contextmanager, suppress
from statistics import median
from typing import Any

from websockets.sync.client import connect
from websockets.typing import Origin

from benchmarks.figures import Figure
from benchmarks.live.rigs import RIG, SINKS, SOURCES, played
from benchmarks.live.speed import RATE, USUAL_FRAMES
from benchmarks.live.stage import ROOT, Process, Stage, Times, play, stage

BROWSERS = 5
_SIDES = ("nobody", "five browsers")
_CHILD = ROOT / "scripts/benchmarks/live/browsers.py"
_FILES = ROOT / "router/page/static"


def measure(quick: bool) -> list[Figure]:
    """All that is about the page."""
    turns, seconds = (3, 6) if quick else (8, 12)
    with stage(USUAL_FRAMES) as place:
        place.source(*SOURCES)
        place.sink(*SINKS)
        ports = [f"bench-{name}:" for name in (*SOURCES, *SINKS)]
        daemon = place.watched_daemon(place.rules(RIG), *ports)
        first = [first_view(place) for _ in range(1 if quick else 5)]
        windows: dict[str, list[tuple[int, int]]] = {side: [] for side in _SIDES}
        seen: list[dict[str, Any]] = []
        _play(place, 2)
        for turn in range(turns):
            for side in _SIDES if turn % 2 else reversed(_SIDES):
                if side == "nobody":
                    windows[side].append(_play(place, seconds))
                    continue
                with browsers(place) as got:
                    windows[side].append(_play(place, seconds))
                seen.append(got)
        times = daemon.stop()
    if times is None:
        raise SystemExit(f"bench page: the daemon told no times:\n{daemon.log}")
    words = f"{turns} turns of {seconds} s, {RATE} messages a second"
    return [*_against_nobody(times, windows, words), *_updates(seen), *_first_views(first)]


def _play(place: Stage, seconds: int) -> tuple[int, int]:
    time.sleep(0.5)
    window = play(played(RATE * seconds), place.sources["keyboard"].send_message, rate=RATE)
    time.sleep(0.2)
    place.deaf()
    return window


def _against_nobody(times: Times, windows: dict[str, list[tuple[int, int]]], words: str) -> Iterator[Figure]:
    waits = {
        side: [sorted((sent - came.arrived) / 1e6 for came, sent in times.during(*window)) for window in each]
        for side, each in windows.items()
    }
    for share, most in ((0.5, 1.05), (0.99, 1.2), (0.999, None)):
        alone, watched = ([_at(turn, share) for turn in waits[side]] for side in _SIDES)
        yield Figure(
            f"arrival to send with {BROWSERS} browsers at the page, p{share * 100:g}, against nobody",
            [ours / theirs for ours, theirs in zip(watched, alone, strict=True)],
            "times",
            at_most=most,
            baseline=f"nobody {median(alone):.4f} ms",
            ours=f"{median(watched):.4f} ms; {words}",
        )


def _updates(seen: Sequence[dict[str, Any]]) -> Iterator[Figure]:
    delays = [got["delay_s"] for got in seen]
    for share, most in (("p50", None), ("p99", 150), ("p100", None)):
        words = f"{sum(got['delays'] for got in seen):,} updates"
        runs = [1_000 * delay[share] for delay in delays]
        yield Figure(f"a message until a browser shows it, {share}", runs, "ms", at_most=most, ours=words)
    yield Figure("updates a second for a browser", [got["updates_a_second"] for got in seen], "updates", at_most=20)
    yield Figure("browsers that were dropped", [got["closed"] for got in seen], "browsers", at_most=0)


def _first_views(first: Sequence[tuple[float, int]]) -> Iterator[Figure]:
    yield Figure("the page from its start to the first view", [seconds for seconds, _ in first], "s", at_most=1)
    sent = [size / 1_000 for _, size in first]
    yield Figure("sent for the first view: page, files, state", sent, "kB", at_most=150)


def _at(values: Sequence[float], share: float) -> float:
    return values[min(len(values) - 1, int(share * len(values)))]


# -- the page's process -----------------------------------------------------------------------------------------------


def free_port() -> int:
    """A port that nobody has just now."""
    with socket.create_server(("127.0.0.1", 0)) as found:
        return int(found.getsockname()[1])


def started_page(place: Stage, port: int, *options: str) -> Process:
    """`pointsman page`, which answers."""
    page = place.start([sys.executable, "-m", "router", "page", "--port", str(port), "--name", "bench", *options])
    while page.code is None:
        with suppress(OSError):
            socket.create_connection(("127.0.0.1", port), 1).close()
            return page
        time.sleep(0.002)
    raise SystemExit(f"bench page: the page ended:\n{page.log}")


@contextmanager
def browsers(place: Stage) -> Iterator[dict[str, Any]]:
    """A page and its browsers; in the end, what they got."""
    port = free_port()
    page = started_page(place, port)
    child = place.start([sys.executable, str(_CHILD), str(port), str(BROWSERS)], "ready")
    got: dict[str, Any] = {}
    yield got
    child.stop()
    got.update(json.loads(child.log.splitlines()[-1]))
    page.stop()


def first_view(place: Stage) -> tuple[float, int]:
    """Seconds from the start of the page until a browser has all of it and the first state, and the bytes of that."""
    port = free_port()
    page = started_page(place, port)
    size = _got(port, "/")
    for file in sorted(_FILES.iterdir()):
        if file.name != "index.html":
            size += _got(port, f"/static/{file.name}")
    address = f"127.0.0.1:{port}"
    with connect(f"ws://{address}/live", origin=Origin(f"http://{address}"), proxy=None) as line:
        while json.loads(text := line.recv(10))["type"] != "state":
            pass
        seconds = (time.monotonic_ns() - page.began) / 1e9
    page.stop()
    return seconds, size + len(text)


def _got(port: int, path: str) -> int:
    line = http.client.HTTPConnection("127.0.0.1", port, timeout=10)
    line.request("GET", path)
    answer = line.getresponse()
    body = answer.read()
    line.close()
    if answer.status != 200:
        raise SystemExit(f"bench page: {path}: {answer.status}")
    return len(body) + sum(len(name) + len(value) + 4 for name, value in answer.getheaders())
