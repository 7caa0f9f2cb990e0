"""What can be compared: wakings, processor time and round trips, woken by records beside polling, by turns."""

from __future__ import annotations

import time
from dataclasses import dataclass

from benchmarks.alsa.place import Daemon, Player, daemon_between
from benchmarks.figures import Figure

_SETTLED_S = 35.0  # after which a daemon that polls has given up its spare clients
_SILENCE_S = 10.0
_NOTE = b"\x90\x40\x40"


@dataclass(frozen=True)
class Run:
    """One daemon: wakings a second and share of a core (%) at rest; wakings a message, and times (ms) of notes."""

    loop_at_rest: float
    all_at_rest: float
    share_at_rest: float
    loop_a_message: float
    all_a_message: float
    after_silence: list[float]
    round_trips: list[float]


def measure(quick: bool) -> list[Figure]:
    """Each figure of the daemon that is woken, its baseline of the daemon that polls."""
    new, old, bare = [], [], []
    for _ in range(1 if quick else 3):
        old.append(_run("rtmidi", quick))
        new.append(_run("records", quick))
        bare.append(_run_bare(quick))
    return [*_wakings(new, old), *_times(new, old), *_bare_times(bare)]


def _run(way: str, quick: bool) -> Run:
    with daemon_between(way) as (daemon, player):
        time.sleep(_SETTLED_S)
        begin, before = time.monotonic(), daemon.usage()
        time.sleep(10 if quick else 30)
        after, seconds = daemon.usage(), time.monotonic() - begin
        silences = _after_silences(player, quick)
        loop, all_threads, trips = _played(daemon, player, quick)
    return Run(
        (after.loop_wakings - before.loop_wakings) / seconds,
        (after.wakings - before.wakings) / seconds,
        100 * (after.processor_ns - before.processor_ns) / seconds / 1e9,
        loop,
        all_threads,
        silences,
        trips,
    )


def _run_bare(quick: bool) -> tuple[list[float], list[float]]:
    """Times after silence, and of notes, of a program that only resends: how fast it can be on this machine."""
    with daemon_between("bare") as (daemon, player):
        silences = _after_silences(player, quick)
        _, _, trips = _played(daemon, player, quick)
    return silences, trips


def _after_silences(player: Player, quick: bool) -> list[float]:
    silences = []
    for _ in range(1 if quick else 3):
        time.sleep(_SILENCE_S)
        silences.append(_round_trip(player))
    return silences


def _played(daemon: Daemon, player: Player, quick: bool) -> tuple[float, float, list[float]]:
    """Play some notes, one after the other; wakings a message, and times."""
    count = 200 if quick else 500
    before = daemon.usage()
    trips = []
    for _ in range(count):
        trips.append(_round_trip(player))
        time.sleep(0.02)
    after = daemon.usage()
    wakings = after.loop_wakings - before.loop_wakings, after.wakings - before.wakings
    return wakings[0] / count, wakings[1] / count, trips


def _round_trip(player: Player) -> float:
    """Return how long (ms) a note takes to the daemon and back."""
    begin = time.monotonic_ns()
    player.play(_NOTE)
    assert player.hear(60) is not None, "a note didn't come back"
    return (time.monotonic_ns() - begin) / 1e6


def _wakings(new: list[Run], old: list[Run]) -> list[Figure]:
    def polling(values: list[float]) -> str:
        return "polling " + ", ".join(f"{value:,.3g}" for value in values)

    return [
        Figure(
            "wakings at rest, the loop",
            [run.loop_at_rest for run in new],
            "a second",
            at_most=2,
            baseline=polling([run.loop_at_rest for run in old]),
        ),
        Figure(
            "wakings at rest, all threads",
            [run.all_at_rest for run in new],
            "a second",
            at_most=8,
            baseline=polling([run.all_at_rest for run in old]),
        ),
        Figure(
            "wakings a message, the loop",
            [run.loop_a_message for run in new],
            "",
            at_most=1.3,
            baseline=polling([run.loop_a_message for run in old]),
            ours="one message every 20 ms",
        ),
        Figure(
            "wakings a message, all threads",
            [run.all_a_message for run in new],
            "",
            at_most=3,
            baseline=polling([run.all_a_message for run in old]),
        ),
        Figure(
            "processor at rest, 7 ports, against polling",
            [ours.share_at_rest / theirs.share_at_rest for ours, theirs in zip(new, old, strict=True)],
            "times",
            at_most=0.1,
            baseline=f"{polling([run.share_at_rest for run in old])} % of a core",
            ours=", ".join(f"{run.share_at_rest:.3g}" for run in new),
        ),
    ]


def _times(new: list[Run], old: list[Run]) -> list[Figure]:
    return [
        _ratio("round trip, p50", 1.0, *([_share(run.round_trips, 0.5) for run in runs] for runs in (new, old))),
        _ratio("round trip, p99", 1.0, *([_share(run.round_trips, 0.99) for run in runs] for runs in (new, old))),
        _ratio(
            f"first note after {_SILENCE_S:.0f} s of silence",
            0.5,
            *([_share(run.after_silence, 0.5) for run in runs] for runs in (new, old)),
        ),
    ]


def _bare_times(bare: list[tuple[list[float], list[float]]]) -> list[Figure]:
    words = "a program that only resends records"
    return [
        Figure(f"{words}: round trip, p50", [_share(trips, 0.5) for _, trips in bare], "ms"),
        Figure(
            f"{words}: first note after {_SILENCE_S:.0f} s of silence", [_share(first, 0.5) for first, _ in bare], "ms"
        ),
    ]


def _share(values: list[float], share: float) -> float:
    return sorted(values)[int(share * len(values))]


def _ratio(what: str, at_most: float, new: list[float], old: list[float]) -> Figure:
    return Figure(
        f"{what}, against polling",
        [ours / theirs for ours, theirs in zip(new, old, strict=True)],
        "times",
        at_most=at_most,
        baseline=", ".join(f"{value:.3g}" for value in old) + " ms",
        ours=", ".join(f"{value:.3g}" for value in new) + " ms",
    )
