"""The command `status`: how the running daemon and its ports stand, once or every second.

The data (`--json`) is one object, with `--watch` one a line and a second:

    {"command": "status", "ok": true, "name": "pointsman", "pid": 4711, "version": "0.1.0", "running_s": 7985,
     "ports": [{"name": "keys", "direction": "in", "state": "open", "computer_port": "Pit Keyboard", "messages": 1204,
                "lost": 0, "refused": 0, "dropped": 0, "load": null, "nowhere": 2, "nowhere_last": "92 24 5A"}],
     "songs": {"names": ["verse", "chorus"], "at": 1, "wrap": false},
     "held": 3, "switches": {"song": "chorus"},
     "clock": {"from": "seq", "take": false, "bpm": 120.0, "running": true, "beats": 17.5, "beats_a_bar": 4},
     "rules": {"files": ["pit.toml"], "applied": 1795610000.0, "error": null, "refused": null},
     "latency_us": {"p50": 5.1, "p99": 18.0, "p99.9": 40.2}, "errors": 0, "stalls": 0, "excess": {"rack": 12},
     "realtime": {"priority": 4, "memory_locked": true}, "missed": 0,
     "history": {"seconds": 600, "bytes": 1048576}, "recording": null,
     "playing": {"file": "take.mid", "as": ["keys"], "seconds": 33.5, "of": 192.3, "bar": 17, "paused": false,
                 "waits": false}}

`from` is the port whose clock sets the tempo, "own" for that of Pointsman, null where there is none; `take` says
whether it is the tempo of the take that plays as this port. `running` says whether the clock was started, `beats` are
quarter notes since then, null where that isn't known. `load` is null where the connection isn't DIN; `load` 1 is all
that the cable can carry. `messages` came in or went out, `lost` are those that could not go out, or came in as no
message at all; `refused` are sysex that the MIDI system can't carry, `dropped` what waited and made way for a panic.
`nowhere` are those that no rule, switch or clock took, and `nowhere_last` is the last of them. `history` is how far
back the daemon remembers, and the memory that takes. `missed` came in faster than they could be taken, on any input.
`stalls` is how often the daemon could not run for over a second, so that messages may be lost. `priority` is null where
the system allows no realtime (1 to 99: sched(7)). `excess` counts by output what was dropped because too many messages
were delayed; that of steps that wait has the name "". `playing` is the take that plays, its time and bar (0 where it
has none); or null. It `waits` for a pedal or a clock to begin. `songs` is null where the rules have none; `at` counts
from 0. The `error` of rules says why the last reload changed nothing, and `refused` what that was about: "files",
"former" rules or "new" rules.
While the daemon is away, lines of `--watch` are
{"command": "status", "ok": false, "error": "..."}.
"""

from __future__ import annotations

import argparse
import json
import shutil
import sys
import textwrap
from collections.abc import Callable, Mapping
from typing import Any, Final, NamedTuple

from router.cli.parsing import add_daemon_name
from router.cli.status_words import status_lines
from router.daemon.control_client import ask_daemon
from router.daemon.run_settings import STANDARD_NAME
from router.daemon.runtime_folder import valid_name
from router.files.clock import SYSTEM_CLOCK, Clock
from router.files.interrupts import ended_like_ctrl_c
from router.text import durations
from router.text.exit_codes import FINE
from router.text.formatting import plain
from router.text.terminal import is_terminal, painted, say, screen_width, shows_colour
from rules.errors import MachineError

ABOUT: Final = """\
Show what the running daemon does: ports that are there or missing, messages, held notes, switches, tempo, and how
busy each DIN cable is. It also shows whether the rule files can be used."""

MORE: Final = """\
examples:
  pointsman status
  pointsman status --watch               show it again every second, until Ctrl-C; waits for a daemon
  pointsman status --watch --json        print a line of JSON every second
  pointsman status --name stage          the daemon that runs with --name stage"""


class StatusSettings(NamedTuple):
    """Which daemon `status` shall ask, and whether once or again and again."""

    name: str = STANDARD_NAME
    watch: bool = False
    json: bool = False


def add_options(parser: argparse.ArgumentParser) -> None:
    """Add the options of the command."""
    parser.set_defaults(call=_call)
    add_daemon_name(parser)
    parser.add_argument("--watch", action="store_true", help="show it again every second, until Ctrl-C (default: once)")
    parser.add_argument("--json", action="store_true", help="print it as JSON (default: text)")


def _call(arguments: argparse.Namespace) -> int:
    return status(StatusSettings(arguments.name, arguments.watch, arguments.json))


_REFRESH_S: Final = 1.0  # seconds between two looks
_PATIENCE_S: Final = 2.0  # seconds for an answer while watching: older figures must not stay on the screen
_NARROWEST: Final = 40  # columns that a view needs
_ENDS: Final = "Ctrl-C ends the view; the daemon plays on."


def status(settings: StatusSettings, clock: Clock = SYSTEM_CLOCK) -> int:
    """Print how it is; return the exit code. Raises MachineError if no such daemon runs or answers.

    With `watch` a daemon that isn't there is waited for.
    """
    if settings.watch:
        with ended_like_ctrl_c():
            _watch(settings, clock)
        return FINE
    told = ask_daemon(settings.name, "status")
    say([json.dumps(_data(told), indent=2)] if settings.json else status_lines(told, screen_width()))
    return FINE


Told = Mapping[str, Any] | MachineError
"""What a daemon says; or why it says nothing."""


def _watch(settings: StatusSettings, clock: Clock) -> None:
    valid_name(settings.name)
    show: Callable[[Told], None] = _line_of_data if settings.json else _screen(clock)
    try:
        while True:
            show(_asked(settings.name))
            sys.stdout.flush()
            clock.sleep_s(_REFRESH_S)
    except KeyboardInterrupt:
        return
    finally:
        if isinstance(show, Screen):
            show.leave()


def _asked(name: str) -> Told:
    try:
        return ask_daemon(name, "status", patience_s=_PATIENCE_S)
    except MachineError as error:
        return error


def _data(told: Mapping[str, Any]) -> dict[str, Any]:
    return {"command": "status", "ok": True, **told}


def _line_of_data(told: Told) -> None:
    data = {"command": "status", "ok": False, "error": str(told)} if isinstance(told, MachineError) else _data(told)
    say([json.dumps(data)])


class Views:
    """What is shown of one answer after the other. Without an answer no figures are shown: they would be old ones."""

    def __init__(self, clock: Clock) -> None:
        self._clock = clock
        self._answered_ns: int | None = None

    def lines(self, told: Told, width: int) -> list[str]:
        """Return the lines for an answer, or for the lack of one, in at most `width` characters."""
        if not isinstance(told, MachineError):
            self._answered_ns = self._clock.now_ns()
            return status_lines(told, width)
        since = self._answered_ns
        ago = "" if since is None else f" for {durations.in_words((self._clock.now_ns() - since) // 1_000_000_000)}"
        words = [f"No answer{ago}. Waiting for the daemon, until Ctrl-C.", "", plain(str(told))]
        return [painted(line, "bad", sys.stdout) for text in words for line in textwrap.wrap(text, width) or [""]]


class Screen:
    """A terminal on which each view takes the place of the one before; the last one stays when it is left."""

    def __init__(self, clock: Clock = SYSTEM_CLOCK) -> None:
        self._views = Views(clock)
        self._last: list[str] = []
        sys.stdout.write("\x1b[?1049h\x1b[?25l\x1b[2J")  # xterm control sequences: other screen, no cursor, clear

    def __call__(self, told: Told) -> None:
        """Show the next view, as much of it as there is room for, and how many lines more there are."""
        size = shutil.get_terminal_size()
        self._last = self._views.lines(told, max(size.columns, _NARROWEST))
        shown = [*self._last, "", _ENDS]
        room = size.lines - 1
        if len(shown) > room:
            shown = [*shown[: room - 1], f"{len(self._last) - room + 1} more lines"]
        fitting = [_cut(line, size.columns) for line in shown]
        sys.stdout.write("\x1b[H" + "".join(f"{line}\x1b[K\n" for line in fitting) + "\x1b[J")

    def leave(self) -> None:
        """Give the terminal back."""
        sys.stdout.write("\x1b[?25h\x1b[?1049l")
        say(self._last)


def _screen(clock: Clock) -> Callable[[Told], None]:
    if is_terminal(sys.stdout) and shows_colour(sys.stdout):
        return Screen(clock)
    views = Views(clock)
    return lambda told: say([*views.lines(told, screen_width()), ""])


def _cut(line: str, width: int) -> str:
    """A line that doesn't run into the next one. Colours take no room, and end with the line."""
    shown = 0
    at = 0
    while at < len(line) and shown < width:
        if line[at] == "\x1b":
            at = line.index("m", at)
        else:
            shown += 1
        at += 1
    return line[:at] + ("\x1b[0m" if "\x1b" in line else "")
