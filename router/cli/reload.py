"""The command `reload`: rule files read again, now.

The data (`--json`) is one object; `outcome` is "applied", "unchanged" or "rejected":

    {"command": "reload", "ok": true, "outcome": "applied", "words": ["..."]}
"""

from __future__ import annotations

import argparse
import json
import sys
from typing import Final, NamedTuple

from router.cli.parsing import add_daemon_name
from router.daemon.control_client import ask_daemon
from router.daemon.run_settings import STANDARD_NAME
from router.text.exit_codes import FINE, INCOMPLETE
from router.text.formatting import plain
from router.text.terminal import painted, say

ABOUT: Final = """\
Read the rule files of the running daemon now, and show the result. The daemon does so by itself when you save a
file. Notes that sound go on. If the files can't be used, or a test fails, the rules stay as they were."""

MORE: Final = """\
examples:
  pointsman reload

exit codes: 0 the new rules play, or nothing has changed; 1 the files can't be used; 2 no daemon answers"""


_PATIENCE_S: Final = 60.0  # seconds: the tests of the rule files run as well


class ReloadSettings(NamedTuple):
    """Which daemon `reload` shall ask."""

    name: str = STANDARD_NAME
    json: bool = False


def add_options(parser: argparse.ArgumentParser) -> None:
    """Add the options of the command."""
    parser.set_defaults(call=_call)
    add_daemon_name(parser)
    parser.add_argument("--json", action="store_true", help="print the result as JSON (default: text)")


def _call(arguments: argparse.Namespace) -> int:
    return reload(ReloadSettings(arguments.name, arguments.json))


def reload(settings: ReloadSettings) -> int:
    """Have the rule files read again, and say what came of it; 1 if they can't be used. Raises MachineError."""
    told = ask_daemon(settings.name, "reload", patience_s=_PATIENCE_S)
    outcome, words = str(told["outcome"]), [str(line) for line in told["words"]]
    rejected = outcome == "rejected"
    if settings.json:
        data = {"command": "reload", "ok": not rejected, "outcome": outcome, "words": words}
        say([json.dumps(data, indent=2)])
    else:
        say(painted(plain(line), "bad", sys.stdout) if rejected else plain(line) for line in words)
        if rejected:
            say(["The rules from before play on."])
    return INCOMPLETE if rejected else FINE
