"""The command `send`: some messages to one port, to try a cable."""

from __future__ import annotations

import argparse
from typing import Final

from router.cli.parsing import add_backend, file_name, length

ABOUT: Final = """\
Send messages to one port, to try a cable: does the module answer on this channel? Notes end by themselves."""

MORE: Final = """\
examples:
  pointsman send "Rack*" note-on 1 C4 60             a soft note, half a second long
  pointsman send "Rack*" "program 1 5" "note-on 1 C4 60" --hold 2s
  pointsman send "Rack*" "program 1 5" "at 200 ms controller 1 volume 90"    with a pause
  pointsman send "Rack*" controller 1 "all notes off" 0
  pointsman send "Rack*" F0 7D 01 F7                 bytes in hex
  pointsman send --virtual test note-on 1 C4 60      make a port, and wait until you have connected it

Turn the volume down first. You don't know how loud an instrument answers, and a program or volume message can make
the next note much louder. Messages go straight to the port, past the rules of a daemon."""


def add_options(parser: argparse.ArgumentParser) -> None:
    """Add the options of the command."""
    parser.usage = (
        "pointsman send [-h] [--virtual] [--hold TIME] [--wait TIME] [--backend SYSTEM] [--json] PORT MESSAGE..."
    )
    parser.set_defaults(call=_call)
    add = parser.add_argument
    add("port", metavar="PORT", type=file_name, help="the name of a port; * means any letters")
    add(
        "words",
        metavar="MESSAGE",
        nargs="+",
        help='a message in words or hex, "at 200 ms ..." for a pause before it; write several in quotes each',
    )
    add("--virtual", action="store_true", help="make a port of this name, and send from it (default: off)")
    add(
        "--hold",
        metavar="TIME",
        type=length,
        default=0.5,
        help="end notes this long after the last message (default: 0.5s)",
    )
    add(
        "--wait",
        metavar="TIME",
        type=length,
        help="with --virtual, send after this time (default: when you press Enter)",
    )
    add_backend(parser)
    add("--json", action="store_true", help="print what was sent as JSON (default: text)")


def _call(arguments: argparse.Namespace) -> int:
    from router.cli.message_sender import SendSettings, send
    from router.midi.library_stderr import LibraryStderr

    settings = SendSettings(
        port=arguments.port,
        words=tuple(arguments.words),
        virtual=arguments.virtual,
        hold_s=arguments.hold,
        wait_s=arguments.wait,
        backend=arguments.backend,
        json=arguments.json,
    )
    with LibraryStderr():
        return send(settings)
