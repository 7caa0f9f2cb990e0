"""The command `record`: takes to .mid files, from the running daemon or from ports of the computer."""

from __future__ import annotations

import argparse
from typing import Final

from router.cli.parsing import add_backend, add_daemon_name, file_name, length

ABOUT: Final = """\
Record what is played to a .mid file: each input and output of the running daemon on its own track, in time with
the clock. You can also save what you played without recording it: the daemon remembers the last ten minutes. A crash
or a power cut costs one second at most."""

MORE: Final = """\
examples:
  pointsman record                          the running daemon, until Ctrl-C, to take-DATE-TIME.mid
  pointsman record -o verse.mid --for 90s   for a minute and a half
  pointsman record --last 5m                what you played in the last five minutes
  pointsman record --from "Pit Keyboard*"   a port of the computer, without a daemon
  pointsman record --from "*"               all ports of the computer
  pointsman record --stop                   end a recording whose terminal was closed, and save it
  pointsman record --recover takes/         make .mid files from what a crash left behind
  pointsman run pit.toml --record takes/    record everything, a file for each stretch of playing

No file is ever overwritten: if take.mid exists, the next one is take-2.mid. During a recording, the take is in
take.mid.journal next to it. Notes and pedals that are still held end with the take. Clock, active sensing and time code
are left out; the tempo of the clock is kept."""


def add_options(parser: argparse.ArgumentParser) -> None:
    """Add the options of the command."""
    parser.set_defaults(call=_call)
    add = parser.add_argument
    add("-o", "--out", metavar="OUT", type=file_name, help="the .mid file, or a folder for it (default: this folder)")
    what = parser.add_mutually_exclusive_group()
    what.add_argument(
        "--last", metavar="TIME", type=length, help="save what you have played: 90s, 5m, 10m (default: record from now)"
    )
    what.add_argument(
        "--for",
        dest="duration",
        metavar="TIME",
        type=length,
        help="record for this time: 90s, 5m, 1h30m (default: until Ctrl-C)",
    )
    what.add_argument(
        "--stop", action="store_true", help="end the recording of the daemon, and save it (default: begin one)"
    )
    what.add_argument(
        "--recover",
        metavar="PLACE",
        type=file_name,
        nargs="+",
        default=[],
        help="folders with journals of a crash, or journals (default: none)",
    )
    add(
        "--from",
        dest="ports",
        metavar="PORT",
        action="append",
        default=[],
        help="record a port of the computer; * and ? mean any letters (default: the daemon)",
    )
    add(
        "--virtual",
        metavar="NAME",
        action="append",
        default=[],
        help="make a port that other programs send to, and record it (default: none)",
    )
    add_backend(parser, "for --from and --virtual, use this MIDI system")
    add_daemon_name(parser)
    add("--json", action="store_true", help="print what was saved as JSON (default: text)")


def _call(arguments: argparse.Namespace) -> int:
    from router.cli.record_takes import RecordSettings, record
    from router.midi.library_stderr import LibraryStderr

    settings = RecordSettings(
        name=arguments.name,
        out=arguments.out,
        last=arguments.last,
        duration_s=arguments.duration,
        stop=arguments.stop,
        recover=tuple(arguments.recover),
        ports=tuple(arguments.ports),
        virtual=tuple(arguments.virtual),
        backend=arguments.backend,
        json=arguments.json,
    )
    with LibraryStderr():
        return record(settings)
