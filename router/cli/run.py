"""The command `run`."""

from __future__ import annotations

import argparse
from typing import Final

from router.cli.parsing import CAUTION, add_backend, add_daemon_name, file_name

ABOUT: Final = """\
Plays: opens the ports that the rule files name and sends what arrives where the rules say, until Ctrl-C. Rule files are
read again when they are saved, while notes sound; a file with a mistake in it leaves the rules as they were. Ports may
come and go: a missing one is waited for, and a keyboard whose cable is pulled leaves no note hanging."""

MORE: Final = f"""\
examples:
  pointsman run stage.toml
  pointsman run rules/                         all rule files of a folder, together
  pointsman run rules/ --record takes/         keep a recording of all that is played
  pointsman run stage.toml --name stage        a second daemon beside the first

While it runs: "pointsman status" says how it stands, "pointsman panic" silences everything, "pointsman record
--last 5m" saves what was just played, "pointsman trace --last" explains it.

exit codes: 0 it was told to leave; 2 it could not start

{CAUTION}
Nothing that can hurt someone (pyrotechnics, rigging, lasers, relays on the mains) belongs behind a MIDI router: that is
for licensed people and local codes."""


def add_options(parser: argparse.ArgumentParser) -> None:
    """Add the options of the command."""
    parser.set_defaults(call=_call, json=False)
    add = parser.add_argument
    add("rules", metavar="RULES", type=file_name, nargs="+", help="rule files, and folders of them (*.toml, by name)")
    add_daemon_name(parser)
    add_backend(parser)
    add("--record", metavar="FOLDER", type=file_name, help="keep a recording of all that is played in this folder")


def _call(arguments: argparse.Namespace) -> int:
    from router.daemon.daemon import run
    from router.daemon.run_settings import RunSettings

    return run(RunSettings(tuple(arguments.rules), arguments.name, arguments.backend, arguments.record))
