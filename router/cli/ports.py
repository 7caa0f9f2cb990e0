"""The command `ports`: what the computer has, or which of it the ports of rule files mean."""

from __future__ import annotations

import argparse
from typing import Final

from router.cli.parsing import add_backend, file_name

ABOUT: Final = """\
List the MIDI ports of this computer, and what to write for each in a rule file. With rule files it shows which
computer's port each of your ports means, and which are missing."""

MORE: Final = """\
examples:
  pointsman ports
  pointsman ports pit.toml               is everything plugged in that these rules need?

exit codes: 0 all is well; 1 a port of the rule files is missing, or could be several"""


def add_options(parser: argparse.ArgumentParser) -> None:
    """Add the options of the command."""
    parser.set_defaults(call=_call)
    parser.add_argument(
        "rules",
        metavar="RULES",
        type=file_name,
        nargs="*",
        help="rule files and folders of them, whose ports to find (default: none)",
    )
    add_backend(parser)
    parser.add_argument("--json", action="store_true", help="print the list as JSON (default: text)")


def _call(arguments: argparse.Namespace) -> int:
    from router.cli.port_list import PortsSettings, ports
    from router.midi.library_stderr import LibraryStderr

    with LibraryStderr():
        return ports(PortsSettings(tuple(arguments.rules), arguments.backend, arguments.json))
