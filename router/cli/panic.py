"""The command `panic`: silence.

The data (`--json`) is one object:

    {"command": "panic", "ok": true}
"""

from __future__ import annotations

import argparse
import json
from typing import Final, NamedTuple

from router.cli.parsing import add_daemon_name
from router.daemon.control_client import ask_daemon
from router.daemon.run_settings import STANDARD_NAME
from router.text.exit_codes import FINE
from router.text.terminal import say

ABOUT: Final = """\
Silences everything: ends the notes that sound, lets pedals go and centres bends, on every channel of every output.
Whatever waits for a slow cable by then and ends nothing is dropped: controllers, programs and sysex too. The daemon
plays on with what comes next."""

MORE: Final = """\
examples:
  pointsman panic
  pointsman panic --every-key            where an instrument hums on: a note-off for each key of each channel

On a DIN cable the 2,048 note-offs of --every-key take 2.0 s, and what is played meanwhile waits for them."""


_SILENCED: Final = "Silence: all notes have been ended, pedals let go, bends centred, on every channel of every output."
_EVERY_KEY: Final = "Note-offs for every key go out as well: 2.0 s on a DIN cable."  # ruling 17


class PanicSettings(NamedTuple):
    """Which daemon `panic` shall silence, and whether key by key as well."""

    name: str = STANDARD_NAME
    every_key: bool = False
    json: bool = False


def add_options(parser: argparse.ArgumentParser) -> None:
    """Add the options of the command."""
    parser.set_defaults(call=_call)
    add_daemon_name(parser)
    parser.add_argument(
        "--every-key", action="store_true", help="end each key of each channel by itself too: 2.0 s on a DIN cable"
    )
    parser.add_argument("--json", action="store_true", help="print the outcome as JSON")


def _call(arguments: argparse.Namespace) -> int:
    return panic(PanicSettings(arguments.name, arguments.every_key, arguments.json))


def panic(settings: PanicSettings) -> int:
    """Silence everything; return the exit code. Raises MachineError if no such daemon runs or answers."""
    ask_daemon(settings.name, "panic", every_key=settings.every_key)
    if settings.json:
        say([json.dumps({"command": "panic", "ok": True}, indent=2)])
    else:
        say([_SILENCED, _EVERY_KEY] if settings.every_key else [_SILENCED])
    return FINE
