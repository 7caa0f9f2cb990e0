"""How fast a message goes through: alone, after silence, while rules are reloaded, and against a bare loop."""

from __future__ import annotations

import threading
import time
from collections.abc import Sequence
from pathlib import Path
from statistics import median

from benchmarks.figures import Figure
from benchmarks.live.rigs import RIG, SINKS, SOURCES, many_rules, played
from benchmarks.live.stage import Came, Process, Stage, Times, play, stage
from router.daemon.control_client import ask_daemon

RATE = 750
USUAL_FRAMES = 128
"""In a period of a sound server for musicians; where no other number is given there are 64."""
RELOAD_EVERY = 0.3

Pairs = Sequence[tuple[Came, int]]


def measure(quick: bool) -> list[Figure]:
    """All that is about time."""
    seconds = 5 if quick else 60
    return [
        *alone_and_after_silence(seconds, 8 if quick else 60),
        *while_reloading(seconds),
        *against_bare(2 if quick else 6, seconds // 4 + 1),
    ]


def alone_and_after_silence(seconds: int, silence: int) -> list[Figure]:
    """One source, others idle; then silence, then the same again for a second."""
    with stage() as place:
        daemon = _rig(place)
        messages = played(RATE * seconds)
        _warm_up(place)
        busy = play(messages, place.sources["keyboard"].send_message, rate=RATE)
        time.sleep(silence)
        again = play(played(RATE), place.sources["keyboard"].send_message, rate=RATE)
        time.sleep(0.2)
        times = _times(daemon)
    pairs, after = times.during(*busy), times.during(*again)
    own, whole = _own(pairs), _whole(pairs)
    first, rest = _whole(after[:1]), _whole(after[1:])
    count = f"{len(pairs):,} messages, {RATE} a second"
    return [
        _share("own code a message, 16 rules, p50", own, 0.5, "µs", 8, count),
        _share("own code a message, 16 rules, p99", own, 0.99, "µs", 30, count),
        _share("arrival to send, p50", whole, 0.5, "ms", 0.15, count),
        _share("arrival to send, p99", whole, 0.99, "ms", 0.32, count),
        _share("arrival to send, p99.9", whole, 0.999, "ms", 1, count),
        Figure(f"the first message after {silence} s of silence", first, "ms"),
        _share(f"the {len(rest)} that follow it, p99", rest, 0.99, "ms", None, f"p50 {_at(rest, 0.5):.3f} ms"),
    ]


def while_reloading(seconds: int) -> list[Figure]:
    """The same while a file of 200 rules is saved again and again, each time with a rule changed."""
    with stage() as place:
        place.source(*SOURCES)
        place.sink(*SINKS)
        place.direct("keyboard")
        rules = place.rules(many_rules(0))
        daemon = place.watched_daemon(rules, *_found(SOURCES, SINKS))
        _warm_up(place)
        ending = threading.Event()
        writer = threading.Thread(target=_save_again_and_again, args=(rules, ending))
        writer.start()
        window = play(played(RATE * seconds), place.sources["keyboard"].send_message, rate=RATE)
        ending.set()
        writer.join()
        time.sleep(0.5)
        heard = len(place.heard("stage"))
        direct = len(place.heard("direct"))
        reloads = daemon.log.count("new rules are in force")
        times = _times(daemon)
        overflows = daemon.log.count("queue limit")
    sent = RATE * seconds
    taken = sum(window[0] <= came.taken < window[1] + 400_000_000 for came in times.came)
    pairs = times.during(*window)
    whole = _whole(pairs)
    words = f"{reloads} reloads in {seconds} s"
    lost = taken - len(times.during(window[0], window[1] + 400_000_000)) + overflows
    return [
        _share("arrival to send while 200 rules are reloaded, p50", whole, 0.5, "ms", None, words),
        _share("arrival to send while 200 rules are reloaded, p99", whole, 0.99, "ms", 0.5, words),
        _share("arrival to send while 200 rules are reloaded, p99.9", whole, 0.999, "ms", None, words),
        Figure(
            "lost by us while reloading",
            [lost],
            "messages",
            at_most=0,
            baseline=f"of {sent:,}, the server lost {sent - direct} on the direct way",
            ours=f"{sent - taken - overflows} on the way to us, {taken - lost - heard} on the way from us",
        ),
    ]


def _save_again_and_again(rules: Path, ending: threading.Event) -> None:
    """By renaming, as editors do, and says so, as the command does; the daemon reads it as soon as it can."""
    texts = [many_rules(version) for version in (1, 2)]
    new = rules.with_suffix(".new")
    version = 0
    due = time.monotonic() + RELOAD_EVERY
    while not ending.wait(max(0.0, due - time.monotonic())):
        due += RELOAD_EVERY
        version += 1
        new.write_text(texts[version % 2], encoding="utf-8")
        new.replace(rules)
        ask_daemon("bench", "reload")


def against_bare(turns: int, seconds: int) -> list[Figure]:
    """By turns, each alone between the same ports, with the same realtime: all that differs is what they do."""
    ours: list[list[float]] = []
    theirs: list[list[float]] = []
    with stage(USUAL_FRAMES) as place:
        place.source(*SOURCES)
        place.sink(*SINKS, "bare")
        for _ in range(turns):
            daemon = place.watched_daemon(place.rules(RIG), *_found(SOURCES, SINKS))
            ours.append(_played_to(place, daemon, seconds))
            theirs.append(_played_to(place, place.bare("ready"), seconds))
    return [_ratio(share, ours, theirs, f"{turns} turns of {seconds} s") for share in (0.5, 0.99, 0.999)]


def _played_to(place: Stage, process: Process, seconds: int) -> list[float]:
    """Milliseconds from arrival to sending."""
    _warm_up(place)
    window = play(played(RATE * seconds), place.sources["keyboard"].send_message, rate=RATE)
    time.sleep(0.2)
    return _whole(_times(process).during(*window))


def _ratio(share: float, ours: Sequence[Sequence[float]], theirs: Sequence[Sequence[float]], words: str) -> Figure:
    """Figure turn by turn how much longer we take."""
    us, them = [_at(turn, share) for turn in ours], [_at(turn, share) for turn in theirs]
    return Figure(
        f"arrival to send, {USUAL_FRAMES} frames, p{share * 100:g}, against a bare loop that polls as often",
        [mine / other for mine, other in zip(us, them, strict=True)],
        "times",
        at_most=1.3,
        baseline=f"bare loop {median(them):.3f} ms",
        ours=f"{median(us):.3f} ms; {words}",
    )


# -- what all of them need ------------------------------------------------------------------------------------------


def _rig(place: Stage) -> Process:
    place.source(*SOURCES)
    place.sink(*SINKS)
    return place.watched_daemon(place.rules(RIG), *_found(SOURCES, SINKS))


def _found(sources: Sequence[str], sinks: Sequence[str]) -> list[str]:
    """What the daemon says when it has opened its ports."""
    return [f"bench-{name}:" for name in (*sources, *sinks)]


def _warm_up(place: Stage) -> None:
    play(played(RATE), place.sources["keyboard"].send_message, rate=RATE)
    time.sleep(0.3)
    place.deaf()


def _times(process: Process) -> Times:
    times = process.stop()
    if times is None:
        raise SystemExit(f"bench live: a process under test told no times:\n{process.log}")
    return times


def _own(pairs: Pairs) -> list[float]:
    """Microseconds from taking to sending."""
    return sorted((sent - came.taken) / 1e3 for came, sent in pairs)


def _whole(pairs: Pairs) -> list[float]:
    """Milliseconds from arrival to sending."""
    return sorted((sent - came.arrived) / 1e6 for came, sent in pairs)


def _at(values: Sequence[float], share: float) -> float:
    return values[min(len(values) - 1, int(share * len(values)))]


def _share(what: str, values: Sequence[float], share: float, unit: str, asked: float | None, ours: str) -> Figure:
    return Figure(what, [_at(values, share)], unit, at_most=asked, ours=f"{ours}; most {values[-1]:.3g} {unit}")
