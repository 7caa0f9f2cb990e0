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
Silence everything on every channel of every output: end notes, release pedals, centre bends. Messages that wait for
a slow DIN cable are dropped, unless they end something. The daemon then plays on."""

MORE: Final = """\
examples:
  pointsman panic
  pointsman panic --every-key            for an instrument that still hums

On a DIN cable the 2,048 note-offs of --every-key take 2.0 s. What you play in that time waits for them."""


_SILENCED: Final = "Silence: all notes ended, pedals released and bends centred, on every channel of every output."
_EVERY_KEY: Final = "Note-offs for every key go out too: 2.0 s on a DIN cable."  # ruling 17


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
        "--every-key",
        action="store_true",
        help="also send a note-off for each key (default: off); 2.0 s on a DIN cable",
    )
    parser.add_argument("--json", action="store_true", help="print the result as JSON (default: text)")


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
