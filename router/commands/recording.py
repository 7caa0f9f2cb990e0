"""The command `record`: takes to .mid files."""

from __future__ import annotations

import argparse
from typing import Any

from router.commands.parsing import add_backend, add_daemon_name, command, file_name, length
from router.settings import RecordSettings

_ABOUT = """\
Takes what is played to a .mid file: each input and each output of the running daemon in a track of its own, with the
beats of the clock on the grid. The take that nobody recorded can be had afterwards: the daemon remembers the last ten
minutes. A crash or a pulled plug costs a second at most."""

_MORE = """\
examples:
  pointsman record                          the running daemon, until Ctrl-C, to take-DATE-TIME.mid
  pointsman record -o verse.mid --for 90s   for a minute and a half
  pointsman record --last 5m                what was played in the last five minutes
  pointsman record --from "Stage 88*"       a port of the computer, without a daemon
  pointsman record --from "*"               all ports
  pointsman record --stop                   end a recording whose terminal was closed, and save it
  pointsman record --rescue takes/          make .mid files of what a crash has left behind
  pointsman run pit.toml --record takes/    no command at all: each stretch of playing becomes a file

No file is ever overwritten: where take.mid exists, the next one is take-2.mid. While it is recorded, the take lies
beside it as take.mid.journal. Notes and pedals that are still held at the end are let go there, so that a recording
never holds a stuck note. Clock, active sensing and time code make no sense in a file and are left out; the tempo of the
clock isn't."""


def add_commands(commands: Any) -> None:
    """Add the parsers of this group."""
    parser = command(commands.add_parser, "record", _ABOUT, _MORE, help="take what is played to a .mid file")
    parser.set_defaults(call=_record)
    add = parser.add_argument
    add("-o", "--out", metavar="OUT", type=file_name, help="the .mid file, or a folder for it")
    what = parser.add_mutually_exclusive_group()
    what.add_argument("--last", metavar="TIME", type=length, help="save what was played before now: 90s, 5m, 10m")
    what.add_argument("--for", dest="duration", metavar="TIME", type=length, help="how long: 90s, 5m, 1h30m")
    what.add_argument("--stop", action="store_true", help="end a recording that goes on in the daemon, and save it")
    what.add_argument(
        "--rescue",
        metavar="PLACE",
        type=file_name,
        nargs="+",
        default=[],
        help="folders with journals that were left behind, or journals",
    )
    add(
        "--from",
        dest="ports",
        metavar="PORT",
        action="append",
        default=[],
        help="record a port of the computer instead of a daemon; * and ? stand for any letters",
    )
    add(
        "--virtual",
        metavar="NAME",
        action="append",
        default=[],
        help="make a port of this name that other programs send to, and record it",
    )
    add_backend(parser, "for --from and --virtual, use this MIDI system")
    add_daemon_name(parser)
    add("--json", action="store_true", help="print what was saved as JSON")


def _record(arguments: argparse.Namespace) -> int:
    settings = RecordSettings(
        name=arguments.name,
        out=arguments.out,
        last=arguments.last,
        duration=arguments.duration,
        stop=arguments.stop,
        rescue=tuple(arguments.rescue),
        ports=tuple(arguments.ports),
        virtual=tuple(arguments.virtual),
        backend=arguments.backend,
        json=arguments.json,
    )
    from router.midi.library_stderr import Noise
    from router.record import record

    with Noise():
        return record(settings)
