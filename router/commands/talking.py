"""The commands that talk to a running daemon: `status`, `panic`, `reload`, `switch`."""

from __future__ import annotations

import argparse
from typing import Any

from router.commands.parsing import add_daemon_name, command, completed_by
from router.settings import PanicSettings, ReloadSettings, StatusSettings, SwitchSettings

_STATUS_ABOUT = """\
Says how the running daemon stands: which ports are there and which are missing, what came in and went out, what is
held, how the switches stand, the tempo, how busy each DIN wire is, and whether the rule files can be used."""

_STATUS_MORE = """\
examples:
  pointsman status
  pointsman status --watch               look again every second, until Ctrl-C
  pointsman status --watch --json        a line of JSON every second
  pointsman status --name stage          the daemon that was started with --name stage"""

_PANIC_ABOUT = """\
Silences everything: ends the notes that sound, lets pedals go and centres bends, on every channel of every output.
Whatever waits for a slow wire by then and ends nothing is dropped: controllers, programs and sysex too. The daemon
plays on with what comes next."""

_PANIC_MORE = """\
examples:
  pointsman panic
  pointsman panic --every-key            where an instrument hums on: a note-off for each key of each channel

On a DIN wire the 2,048 note-offs of --every-key take 2.0 s, and what is played meanwhile waits for them."""

_RELOAD_ABOUT = """\
Has the running daemon read its rule files now, though it does so by itself when they are saved, and says what came of
it. Notes that sound go on. Files that can't be used, or whose tests fail, leave the rules as they were."""

_RELOAD_MORE = """\
examples:
  pointsman reload

exit codes: 0 the new rules play, or nothing has changed; 1 the files can't be used; 2 no daemon answers"""

_SWITCH_ABOUT = """\
Turns a switch of the running daemon, as a pedal or pad would; without a name, it lists the switches."""

_SWITCH_MORE = """\
examples:
  pointsman switch                       how all switches stand
  pointsman switch song=chorus           one of its values
  pointsman switch key=-2                a number
  pointsman switch giant=off             on or off; "switch giant" means on"""


def add_commands(commands: Any) -> None:
    """Add the parsers of this group."""
    _add_status(commands)
    _add_panic(commands)
    _add_reload(commands)
    _add_switch(commands)


def _add_status(commands: Any) -> None:
    parser = command(
        commands.add_parser, "status", _STATUS_ABOUT, _STATUS_MORE, help="say how the running daemon stands"
    )
    parser.set_defaults(call=_status)
    add_daemon_name(parser)
    parser.add_argument("--watch", action="store_true", help="look again every second, until Ctrl-C")
    parser.add_argument("--json", action="store_true", help="print it as JSON")


def _add_panic(commands: Any) -> None:
    parser = command(commands.add_parser, "panic", _PANIC_ABOUT, _PANIC_MORE, help="silence everything")
    parser.set_defaults(call=_panic)
    add_daemon_name(parser)
    parser.add_argument(
        "--every-key", action="store_true", help="end each key of each channel by itself too: 2.0 s on a DIN wire"
    )
    parser.add_argument("--json", action="store_true", help="print the outcome as JSON")


def _add_reload(commands: Any) -> None:
    parser = command(commands.add_parser, "reload", _RELOAD_ABOUT, _RELOAD_MORE, help="read the rule files anew")
    parser.set_defaults(call=_reload)
    add_daemon_name(parser)
    parser.add_argument("--json", action="store_true", help="print the outcome as JSON")


def _add_switch(commands: Any) -> None:
    parser = command(
        commands.add_parser, "switch", _SWITCH_ABOUT, _SWITCH_MORE, help="turn a switch of the running daemon"
    )
    parser.set_defaults(call=_switch)
    text = parser.add_argument("text", metavar="NAME[=VALUE]", nargs="?", help="the switch, and how it shall stand")
    completed_by(text, _names_of_switches)
    add_daemon_name(parser)
    parser.add_argument("--json", action="store_true", help="print how it stands as JSON")


def _names_of_switches(parsed_args: argparse.Namespace, **_: Any) -> list[str]:
    from router.daemon.control_client import ask_daemon

    return list(ask_daemon(parsed_args.name, "status", patience=1.0)["switches"])


def _status(arguments: argparse.Namespace) -> int:
    from router.status import status

    return status(StatusSettings(arguments.name, arguments.watch, arguments.json))


def _panic(arguments: argparse.Namespace) -> int:
    from router.talking import panic

    return panic(PanicSettings(arguments.name, arguments.every_key, arguments.json))


def _reload(arguments: argparse.Namespace) -> int:
    from router.talking import reload

    return reload(ReloadSettings(arguments.name, arguments.json))


def _switch(arguments: argparse.Namespace) -> int:
    from router.talking import switch

    return switch(SwitchSettings(arguments.name, arguments.text, arguments.json))
