"""The command `switch`: turn a switch of the running daemon, or list them all.

The data (`--json`) is one object:

    {"command": "switch", "ok": true, "switches": {"up": false, "song": "chorus", "key": -2}}
"""

from __future__ import annotations

import argparse
import json
from collections.abc import Mapping, Sequence
from typing import Any, Final, NamedTuple

from router.cli.parsing import add_daemon_name, completed_by
from router.cli.status_words import state_word, switch_rows
from router.daemon.control_client import ask_daemon
from router.daemon.run_settings import STANDARD_NAME
from router.text.exit_codes import FINE
from router.text.formatting import plain
from router.text.terminal import say
from router.text.usage import UsageError

ABOUT: Final = """\
Set a switch of the running daemon, as a pedal or pad would. Without a name, list the switches."""

MORE: Final = """\
examples:
  pointsman switch                       list all switches and their states
  pointsman switch song=chorus           one of its values
  pointsman switch key=-2                a number
  pointsman switch giant=off             on or off; "switch giant" means on"""


class SwitchSettings(NamedTuple):
    """Which daemon's switch `switch` shall turn: `text` as written, `song=chorus`; None lists all."""

    name: str = STANDARD_NAME
    text: str | None = None
    json: bool = False


def add_options(parser: argparse.ArgumentParser) -> None:
    """Add the options of the command."""
    parser.set_defaults(call=_call)
    text = parser.add_argument(
        "text", metavar="NAME[=VALUE]", nargs="?", help="the switch and its new state (default: list all)"
    )
    completed_by(text, _names_of_switches)
    add_daemon_name(parser)
    parser.add_argument("--json", action="store_true", help="print the state as JSON (default: text)")


def _names_of_switches(parsed_args: argparse.Namespace, **_: Any) -> list[str]:
    return list(ask_daemon(parsed_args.name, "status", patience_s=1.0)["switches"])


def _call(arguments: argparse.Namespace) -> int:
    return switch(SwitchSettings(arguments.name, arguments.text, arguments.json))


def switch(settings: SwitchSettings) -> int:
    """Turn a switch and say how it stands, or list them all; return the exit code.

    Raises MachineError if no such daemon runs, or it has no such switch or value; UsageError for an empty name.
    """
    if settings.text is None:
        switches = ask_daemon(settings.name, "status")["switches"]
        rows = switch_rows(switches) or ["The rule files have no switches."]
        _tell(switches, rows, settings.json)
        return FINE
    name, given, value = (part.strip() for part in settings.text.partition("="))
    if not name or (given and not value):
        raise UsageError(f'"{plain(settings.text)}": write the switch and its state, as in song=chorus')
    ask_daemon(settings.name, "switch", name=name, value=value if given else None)
    state = ask_daemon(settings.name, "status")["switches"][name]
    _tell({name: state}, [f"{plain(name)} is now {state_word(state)}"], settings.json)
    return FINE


def _tell(switches: Mapping[str, Any], lines: Sequence[str], as_json: bool) -> None:
    say([json.dumps({"command": "switch", "ok": True, "switches": switches}, indent=2)] if as_json else lines)
