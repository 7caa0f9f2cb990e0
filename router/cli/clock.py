"""The command `clock`: start, continue or stop the clock of the running daemon, set its tempo, or show it.

The data (`--json`) is one object; `status` explains it:

    {"command": "clock", "ok": true,
     "clock": {"from": "own", "take": false, "bpm": 96.0, "running": true, "beats": 0.0, "beats_a_bar": 4}}
"""

from __future__ import annotations

import argparse
import json
from typing import Any, Final, NamedTuple

from router.cli.clock_words import place_words, tempo_words, while_it_does
from router.cli.parsing import add_daemon_name
from router.daemon.control_client import ask_daemon
from router.daemon.run_settings import STANDARD_NAME
from router.text.exit_codes import FINE
from router.text.formatting import plain
from router.text.terminal import say
from router.text.usage import UsageError

ABOUT: Final = """\
Start, continue or stop the clock of the running daemon, or set its tempo. Ports with clock = "own" hear it. Without
anything, show the clock."""

MORE: Final = """\
examples:
  pointsman clock                        show the tempo, bar and beat
  pointsman clock start                  start from the beginning
  pointsman clock stop
  pointsman clock continue               go on where it stopped
  pointsman clock 96                     96 BPM from now on"""

_VERBS: Final = ("start", "continue", "stop")
_ROUNDED: Final = 0.01  # BPM: the daemon says two decimals


class ClockSettings(NamedTuple):
    """What the clock shall do: "start", "continue", "stop", or a tempo as text; None shows it."""

    name: str = STANDARD_NAME
    what: str | None = None
    json: bool = False


def add_options(parser: argparse.ArgumentParser) -> None:
    """Add the options of the command."""
    parser.set_defaults(call=_call)
    parser.add_argument(
        "what",
        metavar="start|continue|stop|BPM",
        nargs="?",
        help="what the clock does, or its tempo, 10 to 1000 (default: show it)",
    )
    add_daemon_name(parser)
    parser.add_argument("--json", action="store_true", help="print the clock as JSON (default: text)")


def _call(arguments: argparse.Namespace) -> int:
    return clock(ClockSettings(arguments.name, arguments.what, arguments.json))


def clock(settings: ClockSettings) -> int:
    """Ask the clock for something, and say how it is then; return the exit code.

    Raises MachineError if no such daemon runs; UsageError for another word, and a tempo that no clock can have.
    """
    bpm = None
    if settings.what is None:
        told = ask_daemon(settings.name, "status")
    elif settings.what in _VERBS:
        told = ask_daemon(settings.name, "clock", do=settings.what)
    else:
        bpm = _tempo(settings.what)
        told = ask_daemon(settings.name, "clock", bpm=bpm)
    tell_clock("clock", told["clock"], as_json=settings.json)
    if bpm is not None and abs(bpm - told["clock"]["bpm"]) > _ROUNDED and not settings.json:
        say([f"{bpm:g} BPM doesn't count {while_it_does(told['clock'])}."])
    if settings.what in _VERBS and told["clock"]["from"] is None and not settings.json:
        say(['No output hears your clock: write clock = "own" at its port.'])
    return FINE


def _tempo(text: str) -> float:
    from rules.rulefile.clock_table import FASTEST_BPM, SLOWEST_BPM

    try:
        bpm = float(text)
    except ValueError:
        raise UsageError(f'"{plain(text)}": write start, continue, stop, or a tempo such as 96') from None
    if not SLOWEST_BPM <= bpm <= FASTEST_BPM:
        raise UsageError(f'"{plain(text)}" isn\'t a tempo of a clock: write {SLOWEST_BPM} to {FASTEST_BPM} BPM')
    return bpm


def tell_clock(command: str, told: dict[str, Any], *, as_json: bool) -> None:
    """Print how the clock is."""
    if as_json:
        say([json.dumps({"command": command, "ok": True, "clock": told}, indent=2)])
        return
    place = place_words(told)
    say([tempo_words(told), *([] if place is None else [f"The clock {place}."])])
