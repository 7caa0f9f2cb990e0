"""What `listen` does: hears ports, and prints a line for each message.

The data (`--json`) are an object a line. `at` is in seconds since the beginning, `since` since the message before:

    {"at": 1.204, "since": 0.012, "port": "Pit Keyboard:MIDI 1", "message": "note-on 1 C4 100", "bytes": "90 3C 64"}
    {"at": 2.0, "port": "Step Box:MIDI 1", "reading": "clock at 120.0 BPM", "bpm": 120.0}
"""

from __future__ import annotations

import json
import sys
from collections.abc import Sequence
from typing import Final, NamedTuple

from router.cli.own_ports import OwnPorts
from router.files.clock import SYSTEM_CLOCK, Clock
from router.midi.backend import Backend
from router.midi.backend_choice import choose_backend
from router.midi.event_loop import EventLoop
from router.midi.listening_ports import ListeningPorts
from router.midi.scan_times import ScanTimes
from router.midi.waiting import waiter_for
from router.text.exit_codes import FINE
from router.text.formatting import fitted, plain
from router.text.terminal import is_terminal, say, screen_width
from rules.listening.incoming import LONGEST, SteadyMessages, channel_of, in_words, kind_of, kinds_meant
from rules.midi.messages import message_fault
from rules.midi.notation import format_message, in_hex
from rules.ports.patterns import bare_name
from rules.timing.delays import NANOSECONDS_PER_SECOND


class ListenSettings(NamedTuple):
    """What `listen` shall tell: of `ports` (patterns; none: all) and `virtual` ones of our own.

    `only` and `without` are kinds of messages as written, `channels` 1 to 16, each empty for no condition. `duration_s`
    is in seconds and `most` in messages, None until Ctrl-C.
    """

    ports: tuple[str, ...] = ()
    virtual: tuple[str, ...] = ()
    only: tuple[str, ...] = ()
    without: tuple[str, ...] = ()
    channels: frozenset[int] = frozenset()
    duration_s: float | None = None
    most: int | None = None
    bytes: bool = False
    backend: str | None = None
    json: bool = False


_DRIFT_S: Final = 0.02  # seconds by which the system's own times may differ from ours
_SILENCE_EVERY_NS: Final = 10_000_000  # between two looks whether a clock has fallen silent
_MOST_RAW: Final = 3  # bytes: longer messages have theirs in the words
_RAW_WIDTH: Final = 8
_OWN: Final = " (Pointsman's own)"
_LEAST_NAME: Final = 12  # characters of a port's name, also where the screen is too narrow


def listen(settings: ListenSettings, backend: Backend | None = None, clock: Clock = SYSTEM_CLOCK) -> int:
    """Tell what arrives until Ctrl-C, or as long as was asked; return the exit code. Raises MachineError."""
    system = backend or choose_backend(settings.backend, "pointsman-listen")
    listening = ListeningPorts(
        system, "listen", settings.ports or (() if settings.virtual else ("*",)), settings.virtual
    )
    listener = Listener(settings, listening, ScanTimes(system), clock)
    try:
        EventLoop(listener.take, listener.tend, clock, waiter=waiter_for(system, clock)).run(listener.is_over)
    except KeyboardInterrupt:
        if is_terminal(sys.stdout):
            say([""])  # the shell goes on below the ^C
    finally:
        listening.close()
        if backend is None:
            system.close()
    return FINE


class Listener:
    """What the loop does: hears, tells, and looks for new ports."""

    def __init__(self, settings: ListenSettings, listening: ListeningPorts, scans: ScanTimes, clock: Clock) -> None:
        self._listening = listening
        self._scans = scans
        self._now_ns = clock.now_ns
        self._told = IncomingReport(settings, self._now())

    def _now(self) -> float:
        return self._now_ns() / NANOSECONDS_PER_SECOND

    def is_over(self) -> bool:
        """Return whether as much was told as was asked for."""
        return self._told.is_over(self._now())

    def take(self) -> bool:
        """Tell what has arrived; whether anything had."""
        busy = False
        for port, message, since in self._listening.poll_with_times():
            busy = True
            self._told.hear(port, message, self._now(), since)
        return busy

    def tend(self, now: int) -> int:
        """Look for new ports, and for what has fallen silent; when to come again (ns)."""
        if self._scans.is_due(now):
            self._told.meet(self._listening.look())
        self._told.look(now / NANOSECONDS_PER_SECOND)
        return min(self._scans.next, now + _SILENCE_EVERY_NS)


class IncomingReport:
    """What was told so far, and how: lines for people, or for programs."""

    def __init__(self, settings: ListenSettings, began: float) -> None:
        self._settings = settings
        self._only = kinds_meant(settings.only)
        self._without = kinds_meant(settings.without)
        self._began = began
        self._last: float | None = None
        self._count = 0
        self._times: dict[str, float] = {}
        self._ticking: dict[str, SteadyMessages] = {}
        self._met_any = False
        self._is_own = OwnPorts()

    def is_over(self, now: float) -> bool:
        """Return whether as much was told as was asked for."""
        duration_s = self._settings.duration_s
        return self._is_enough or (duration_s is not None and now - self._began >= duration_s)

    @property
    def _is_enough(self) -> bool:
        return self._settings.most is not None and self._count >= self._settings.most

    def meet(self, ports: Sequence[str]) -> None:
        """Say which ports are listened to from now on."""
        names = [self._named(port) for port in ports]
        if not self._settings.json and names:
            say([f"Listening to {', '.join(names)}"])
        elif not self._settings.json and not self._met_any:
            say(["There is no such port yet. Waiting for it."])
        self._met_any = True
        sys.stdout.flush()

    def hear(self, port: str, message: bytes, now: float, since: float) -> None:
        """Take in a message of a port, so many seconds after the one before."""
        at = self._time(port, now, since)
        if self._is_enough or not message or not self._is_wanted(message):
            return
        ticking = self._ticking.setdefault(port, SteadyMessages())
        reading = ticking.hear(message, int(at * NANOSECONDS_PER_SECOND))
        if reading is None:
            self._tell(port, message, at)
        elif reading:
            self._tell_reading(port, reading, at)

    def look(self, now: float) -> None:
        """Tell what has fallen silent, and let everything be seen."""
        for port, ticking in self._ticking.items():
            for words in ticking.fall_silent(int(now * NANOSECONDS_PER_SECOND)):
                self._tell_reading(port, words, now)
        sys.stdout.flush()

    def _time(self, port: str, now: float, since: float) -> float:
        """Return when a message came: counted on from the one before, for we look only now and then."""
        at = self._times.get(port, now) + since
        if abs(at - now) > _DRIFT_S:
            at = now
        self._times[port] = at
        return at

    def _is_wanted(self, message: bytes) -> bool:
        if message_fault(message):
            return not (self._only or self._settings.channels)
        kind, channel = kind_of(message), channel_of(message)
        if (self._only and kind not in self._only) or kind in self._without:
            return False
        return not self._settings.channels or channel in self._settings.channels

    def _tell(self, port: str, message: bytes, at: float) -> None:
        since = 0.0 if self._last is None else max(0.0, at - self._last)
        is_first, self._last = self._last is None, at
        self._count += 1
        if self._settings.json:
            words = "" if message_fault(message) else format_message(message)
            data = {"since": round(since, 6), "port": bare_name(port), "message": words, "bytes": in_hex(message)}
            say([json.dumps({"at": round(at - self._began, 6), **data})])
            return
        raw = in_hex(message) if len(message) <= _MOST_RAW else ""
        self._say_line(in_words(message), raw, "" if is_first else _span(since), port)

    def _tell_reading(self, port: str, words: str, at: float) -> None:
        if self._settings.json:
            at = round(at - self._began, 6)
            say([json.dumps({"at": at, "port": bare_name(port), "reading": words, "bpm": self._ticking[port].bpm})])
        else:
            self._say_line(words, "", "", port)

    def _named(self, port: str) -> str:
        return f"{plain(bare_name(port))}{_OWN if self._is_own(port) else ''}"

    def _say_line(self, words: str, raw: str, time: str, port: str) -> None:
        """Print what arrived first and its port last, on one line of the screen."""
        cells = [f"{words:<{LONGEST}}", *([f"{raw:<{_RAW_WIDTH}}"] if self._settings.bytes else ()), f"{time:>9}", ""]
        line = "  ".join(cells)
        say([line + fitted(self._named(port), max(_LEAST_NAME, screen_width() - len(line)))])


def _span(seconds: float) -> str:
    """Return how long after the line before."""
    return f"+{seconds * 1000:.1f} ms" if seconds < 1 else f"+{seconds:.1f} s"
