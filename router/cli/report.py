"""The command `report`: one file about the running daemon, to be sent to whoever can find a mistake."""

from __future__ import annotations

import argparse
from typing import Final

from router.cli.parsing import add_backend, add_daemon_name, file_name

ABOUT: Final = """\
Write one file about the running daemon: what arrived and went out in the last minutes, the rule files, versions and
ports. Send it to the people who can find out what went wrong."""

MORE: Final = """\
examples:
  pointsman report
  pointsman report hanging-note.json

The file shows what you played and your rule files. Where a path has the name of your home folder, it is replaced by ~.
A file that exists is not replaced."""


def add_options(parser: argparse.ArgumentParser) -> None:
    """Add the options of the command."""
    parser.set_defaults(call=_call)
    parser.add_argument(
        "file",
        metavar="FILE",
        type=file_name,
        nargs="?",
        help="the file to write (default: pointsman-report- with date and time)",
    )
    add_daemon_name(parser)
    add_backend(parser, "list the ports of this MIDI system")
    parser.add_argument("--json", action="store_true", help="print where the file is as JSON (default: text)")


def _call(arguments: argparse.Namespace) -> int:
    from router.cli.daemon_report import ReportSettings, report
    from router.midi.library_stderr import LibraryStderr

    with LibraryStderr():
        return report(ReportSettings(arguments.file, arguments.name, arguments.backend, arguments.json))
