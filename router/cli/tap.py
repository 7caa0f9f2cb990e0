"""The command `tap`: tap the tempo of the running daemon.

The data (`--json`) is one object for each tap, on a line; `status` explains it:

    {"command": "tap", "ok": true, "clock": {"from": "own", "take": false, "bpm": 118.5, "running": false,
     "beats": null, "beats_a_bar": 4}}
"""

from __future__ import annotations

import argparse
import json
import sys
from typing import Final, NamedTuple

from router.cli.clock_words import has_other_master, tempo_words, while_it_does
from router.cli.parsing import add_daemon_name
from router.daemon.control_client import ask_daemon
from router.daemon.run_settings import STANDARD_NAME
from router.files.interrupts import ended_like_ctrl_c
from router.text.exit_codes import FINE
from router.text.terminal import is_terminal, say

ABOUT: Final = """\
Tap the tempo of the running daemon: press Enter in time, Ctrl-C ends it. Where there is no terminal to press Enter in,
it is one tap."""

MORE: Final = """\
examples:
  pointsman tap                          press Enter on each beat
  pointsman tap --once                   one tap, for a key of your desktop"""

_HOW: Final = "Press Enter on each beat; Ctrl-C ends it."


class TapSettings(NamedTuple):
    """Which daemon `tap` shall tap, and whether only once."""

    name: str = STANDARD_NAME
    once: bool = False
    json: bool = False


def add_options(parser: argparse.ArgumentParser) -> None:
    """Add the options of the command."""
    parser.set_defaults(call=_call)
    add_daemon_name(parser)
    parser.add_argument("--once", action="store_true", help="tap once (default: at each Enter, on a terminal)")
    parser.add_argument("--json", action="store_true", help="print the clock as JSON (default: text)")


def _call(arguments: argparse.Namespace) -> int:
    return tap(TapSettings(arguments.name, arguments.once, arguments.json))


def tap(settings: TapSettings) -> int:
    """Tap once, or at each line that comes in; return the exit code. Raises MachineError if no such daemon runs."""
    if settings.once or not is_terminal(sys.stdin):
        _tap(settings)
        return FINE
    ask_daemon(settings.name, "status")  # whoever gets ready to tap learns first that nobody is there
    if not settings.json:
        say([_HOW])
    with ended_like_ctrl_c():
        try:
            while sys.stdin.readline():
                _tap(settings)
        except KeyboardInterrupt:
            pass
    return FINE


def _tap(settings: TapSettings) -> None:
    told = ask_daemon(settings.name, "tap")["clock"]
    in_vain = f". Taps don't count {while_it_does(told)}" if has_other_master(told) else ""
    line = f"{tempo_words(told)}{in_vain}"
    say([json.dumps({"command": "tap", "ok": True, "clock": told})] if settings.json else [line])
    sys.stdout.flush()
