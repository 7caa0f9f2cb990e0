"""What the daemon takes of the machine, and what it stands: processor, memory, eight full wires, long sysex, delays."""

from __future__ import annotations

import os
import subprocess
import sys
import time
from collections.abc import Callable, Sequence

from benchmarks.figures import Figure
from benchmarks.live.rigs import (
    DELAYED,
    EIGHT,
    EIGHT_SOURCES,
    LATE,
    RIG,
    SINKS,
    SOURCES,
    TOO_LONG,
    TWO_PORTS,
    missing,
    numbered,
    numbered_out,
    played,
    sysexes,
)
from benchmarks.live.stage import ROOT, TIMER_SLACK, Memory, Process, Stage, play, stage
from benchmarks.start import COMMAND
from router.daemon.control_client import ask_daemon
from router.midi.waiting import BUSY_PAUSE_NS, IDLE_PAUSE_NS
from rules.midi.neutral import panic_messages

UNIT = "% of a core"
DIN_RATE = 1_041
SOAK_RATE = 2_000
PLAYED_A_MINUTE = 60 * SOAK_RATE
NOTE = b"\x90\x40\x40"
USUAL_FRAMES = 256  # in a period of most sound servers; 64 are the shortest that common devices do
SETTLED = 35.0  # seconds after which a daemon that nobody plays is at rest


def measure(quick: bool) -> list[Figure]:
    """All that is about how much."""
    seconds = 5 if quick else 30
    return [
        *at_rest_and_playing(seconds),
        *eight_full_wires(5 if quick else 60),
        *delays(seconds),
        *long_sysex(),
        *start(2 if quick else 5),
        *panic(5 if quick else 20),
    ]


def at_rest_and_playing(seconds: int) -> list[Figure]:
    """Processor and memory of daemons as anyone starts them: the rig's, and one between two ports."""
    one, other = SOURCES[:1], SINKS[:1]
    figures, memory = _used(RIG, SOURCES, SINKS, "4 inputs, 3 outputs", seconds)
    smaller, _ = _used(TWO_PORTS, one, other, "1 input, 1 output", seconds)
    usual, _ = _used(TWO_PORTS, one, other, f"1 input, 1 output, periods of {USUAL_FRAMES}", seconds, USUAL_FRAMES)
    return [*figures, *smaller, *usual, _memory_figure("memory at rest", memory, 70)]


def _used(
    rules: str, sources: Sequence[str], sinks: Sequence[str], ports: str, seconds: int, frames: int = 64
) -> tuple[list[Figure], Memory]:
    """What the processor does for a daemon at rest and playing, and the memory it has at rest.

    Each port is a client of the sound server, whose library wakes a thread for it in every period. What a waking costs
    is the machine's: beside ours stands what a process takes that does nothing but sleep as long as our loop does.
    """
    with stage(frames) as place:
        place.source(*sources)
        place.sink(*sinks)
        daemon = place.daemon(rules, *(f"bench-{name}:" for name in (*sources, *sinks)))
        time.sleep(SETTLED)
        memory = daemon.memory()
        idle, idle_loop = _share_of_core(daemon, lambda: time.sleep(seconds))
        send = place.sources["keyboard"].send_message
        busy, busy_loop = _share_of_core(daemon, lambda: play(played(750 * seconds), send, rate=750))
    figures = [
        Figure(
            f"processor, idle, {ports}",
            [idle],
            UNIT,
            at_most=3,
            baseline=f"sleeping only {_sleeping(IDLE_PAUSE_NS, seconds):.1f}",
            ours=f"our loop {idle_loop:.1f}",
        ),
        Figure(
            f"processor, 750 messages a second, {ports}",
            [busy],
            UNIT,
            at_most=12,
            baseline=f"sleeping only {_sleeping(BUSY_PAUSE_NS, seconds):.1f}",
            ours=f"our loop {busy_loop:.1f}",
        ),
    ]
    return figures, memory


def _sleeping(pause: int, seconds: int) -> float:
    """Percent of a core that a process takes which sleeps for `pause` ns again and again."""
    code = (
        "import ctypes, time\n"
        f"ctypes.CDLL(None).prctl({TIMER_SLACK}, 1, 0, 0, 0)\n"
        f"begin, end = time.process_time(), time.monotonic() + {seconds}\n"
        f"while time.monotonic() < end: time.sleep({pause / 1e9})\n"
        f"print(100 * (time.process_time() - begin) / {seconds})"
    )
    done = subprocess.run([sys.executable, "-c", code], stdout=subprocess.PIPE, text=True, check=True)
    return float(done.stdout)


def _memory_figure(what: str, memory: Memory, asked: float | None) -> Figure:
    """The server's buffers are in the memory of each of its clients, but there once: they aren't ours."""
    return Figure(
        what,
        [memory.resident - memory.shared],
        "MB",
        at_most=asked,
        ours=f"{memory.own:.1f} own, {memory.files:.1f} files; {memory.shared:.0f} more are the sound server's",
    )


def _share_of_core(process: Process, during: Callable[[], object]) -> tuple[float, float]:
    """Percent of a core that the process takes meanwhile, and its main thread alone."""
    begin, before, loop_before = time.monotonic(), process.processor, process.main_processor
    during()
    seconds = time.monotonic() - begin
    return 100 * (process.processor - before) / seconds, 100 * (process.main_processor - loop_before) / seconds


def eight_full_wires(seconds: int) -> list[Figure]:
    """Eight sources at once, each as fast as a DIN wire is."""
    sinks = [f"sink{number}" for number in range(1, 5)]
    count = DIN_RATE * seconds
    with stage() as place:
        place.source(*EIGHT)
        place.sink(*sinks)
        place.direct(EIGHT[0])
        daemon = place.watched_daemon(place.rules(EIGHT_SOURCES), *(f"bench-{name}:" for name in (*EIGHT, *sinks)))
        time.sleep(0.5)
        begin, before = time.monotonic(), daemon.processor
        sends = [place.sources[name].send_message for name in EIGHT]
        play(numbered(count), *sends, rate=DIN_RATE)
        busy = 100 * (daemon.processor - before) / (time.monotonic() - begin)
        time.sleep(1)
        heard = {sink: place.heard(sink) for sink in sinks}
        direct = len(place.heard("direct"))
        ended = time.monotonic_ns()
        times = daemon.stop()
        overflows = daemon.log.count("queue limit")
    assert times is not None
    lost = again = strange = 0
    for at in range(len(EIGHT)):
        mine = [message for message in heard[sinks[at // 2]] if message[0] & 0x0F == at]
        gone, repeated, out_of_order = missing(numbered_out(count, at), mine)
        lost += gone
        again += repeated
        strange += out_of_order
    own = sorted((sent - came.taken) / 1e3 for came, sent in times.during(0, ended))
    taken, sent = len(times.came), sum(at < ended for at, _ in times.went)  # later, notes without an end get theirs
    words = f"{len(EIGHT) * count:,} messages"
    return [
        Figure(
            f"8 sources at {DIN_RATE:,} a second, {seconds} s: lost by us",
            [taken - sent + overflows],
            "messages",
            at_most=0,
            baseline=f"the server lost {count - direct} of {count:,} on one direct way",
            ours=f"of {words} {lost} lost in all: {len(EIGHT) * count - taken - overflows} on the way to us, "
            f"{lost - (len(EIGHT) * count - taken) - (taken - sent)} from us",
        ),
        Figure(
            "the same: out of order",
            [strange],
            "messages",
            at_most=0,
            ours=f"{again} that the server gave twice",
        ),
        Figure("the same: processor", [busy], UNIT, ours=f"{len(EIGHT) * DIN_RATE:,} messages a second"),
        Figure("the same: own code a message, p50", [own[len(own) // 2]], "µs", ours="one rule for each source"),
    ]


def delays(seconds: int) -> list[Figure]:
    """How late what is delayed goes out."""
    with stage() as place:
        place.source("keyboard")
        place.sink("stage")
        daemon = place.watched_daemon(place.rules(DELAYED), "bench-keyboard:", "bench-stage:")
        time.sleep(0.5)
        play(played(200 * seconds), place.sources["keyboard"].send_message, rate=197)
        time.sleep(0.5)
        times = daemon.stop()
    assert times is not None
    # a note whose end the sound server lost is ended when the daemon leaves, after all others
    assert len(times.came) <= len(times.went) < len(times.came) + 100
    late = sorted((went[0] - came.taken) / 1e6 - LATE for came, went in zip(times.came, times.went, strict=False))
    words = f"{len(late):,} messages delayed by {LATE} ms; p50 {late[len(late) // 2]:.3f} ms, most {late[-1]:.3f} ms"
    return [
        Figure("later than due, p99", [late[int(0.99 * len(late))]], "ms", at_most=1, ours=words),
        Figure("later than due, least", [late[0]], "ms", at_least=0),
    ]


def long_sysex() -> list[Figure]:
    """Sizes that arrive whole, and one that is refused in words."""
    sizes = [3, 100, 1_000, 4_096, 8_192, 16_000, 16_378, 16_379]
    with stage() as place:
        place.source("keyboard")
        place.sink("stage")
        daemon = place.daemon(sysexes(folder_of_long_one=True), "bench-keyboard:", "bench-stage:")
        time.sleep(0.5)
        send = place.sources["keyboard"].send_message
        whole = 0
        for size in sizes:
            message = b"\xf0" + bytes(at % 128 for at in range(size - 2)) + b"\xf7"
            send(message)
            time.sleep(0.1)
            if place.heard("stage") == [message]:
                whole = max(whole, size)
        send(b"\xc0\x05")
        time.sleep(1)
        refused = [line for line in daemon.log.splitlines() if "refused" in line]
        nothing = place.heard("stage") == []
    return [
        Figure("longest sysex that arrives whole", [whole], "bytes", at_least=16_379, ours=f"{len(sizes)} sizes"),
        Figure(
            f"a sysex of {TOO_LONG:,} bytes is refused in words",
            [int(bool(refused) and nothing)],
            "times",
            at_least=1,
            ours=refused[0] if refused else "nothing was said",
        ),
    ]


def start(rounds: int) -> list[Figure]:
    """From the start of the command to the first message that comes through."""
    found = []
    with stage() as place:
        place.source(*SOURCES)
        place.sink(*SINKS)
        send = place.sources["keyboard"].send_message
        for _ in range(rounds):
            daemon = place.daemon(RIG)
            while not (heard := place.heard("stage")) and time.monotonic_ns() - daemon.began < 20e9:
                send(NOTE)
                time.sleep(0.002)
            found.append((time.monotonic_ns() - daemon.began) / 1e9 if heard else 20)
            daemon.stop()
            place.deaf()
    return [Figure("start to first message, 4 inputs, 3 outputs", found, "s", at_most=1)]


def panic(rounds: int) -> list[Figure]:
    """From the start of the command `panic` to the silence of a note that is held, on all that its channel plays."""
    found = []
    with stage() as place:
        place.source(*SOURCES)
        place.sink(*SINKS)
        place.daemon(RIG, *(f"bench-{name}:" for name in (*SOURCES, *SINKS)))
        for turn in range(rounds + 1):
            place.sources["keyboard"].send_message(NOTE)
            time.sleep(0.3)
            place.deaf()
            began = time.monotonic()
            command = subprocess.Popen([*COMMAND, "panic", "--name", "bench"], stdout=subprocess.DEVNULL, cwd=ROOT)
            missing = set(panic_messages(0))
            while missing and time.monotonic() - began < 20:
                missing.difference_update(place.heard("stage"))
                time.sleep(0.0005)
            if turn:  # the first one may compile what it loads
                found.append(time.monotonic() - began)
            command.wait()
    words = f"a note held at one of 3 outputs; load {os.getloadavg()[0]:.1f}"
    return [Figure("pointsman panic, from key press to silence", found, "s", at_most=0.12, ours=words)]


def soak(minutes: float) -> list[Figure]:
    """Memory over a long time at 2,000 messages a second, minute by minute on standard error."""
    readings: list[Memory] = []
    with stage() as place:
        place.source(*SOURCES)
        place.sink(*SINKS)
        daemon = place.daemon(RIG, *(f"bench-{name}:" for name in (*SOURCES, *SINKS)))
        heard = 0
        for minute in range(max(1, round(minutes))):
            heard += _a_minute(place, minute)
            readings.append(daemon.memory())
            print(f"minute {minute + 1}: {readings[-1].own:.1f} MB own", file=sys.stderr)
        time.sleep(1)
        heard += len(place.heard("stage"))
        status = ask_daemon("bench", "status")
        errors = daemon.log.count("mistake")
    sent = PLAYED_A_MINUTE * len(readings)
    ports = {port["name"]: port for port in status["ports"]}
    taken, went = ports["keyboard"]["messages"], ports["stage"]["messages"]
    own = [reading.resident - reading.shared for reading in readings]
    return [
        Figure(
            f"lost by us in {len(own)} minutes",
            [taken - went + ports["stage"]["lost"] + status["missed"]],
            "messages",
            at_most=0,
            baseline=f"of {sent:,}, the server lost {sent - taken - status['missed']} on the way to us and "
            f"{went - heard} on the way from us",
        ),
        Figure(
            f"memory after {len(own)} minutes at 2,000 messages a second",
            [own[-1]],
            "MB",
            ours=f"after the first minute {own[0]:.1f} MB; by minute {_list(own)}; "
            f"{heard:,} messages heard, {errors} mistakes",
        ),
    ]


def _a_minute(place: Stage, minute: int) -> int:
    """Play for a minute; how much was heard."""
    heard = 0
    for _ in range(60):
        play(played(SOAK_RATE), place.sources["keyboard"].send_message, rate=SOAK_RATE)
        heard += len(place.heard("stage"))
    return heard


def _list(values: Sequence[float]) -> str:
    return ", ".join(f"{value:.1f}" for value in values)
