"""The command `run`."""

from __future__ import annotations

import argparse
from typing import Final

from router.cli.parsing import CAUTION, add_backend, add_daemon_name, file_name

ABOUT: Final = """\
Apply rules live, between the computer's ports, until Ctrl-C. When you save a rule file, the new rules play at once
and notes sound on. If the file has a mistake, the old rules play on. You can unplug and plug in ports at any time.
When you pull the cable of a keyboard, its notes end."""

MORE: Final = f"""\
examples:
  pointsman run stage.toml
  pointsman run rules/                         all rule files of a folder, together
  pointsman run rules/ --record takes/         record everything that is played
  pointsman run stage.toml --name stage        a second daemon next to the first

in a second terminal, while it runs:
  pointsman status                             show what it does
  pointsman panic                              silence everything
  pointsman record --last 5m                   save what you just played
  pointsman trace --last                       explain what just happened

exit codes: 0 you ended it; 2 it could not begin

{CAUTION}
Nothing that can hurt someone belongs behind a MIDI router: no pyrotechnics, rigging, lasers or relays for mains power.
Follow your local codes, and leave those things to licensed people."""


def add_options(parser: argparse.ArgumentParser) -> None:
    """Add the options of the command."""
    parser.set_defaults(call=_call, json=False)
    add = parser.add_argument
    add("rules", metavar="RULES", type=file_name, nargs="+", help="rule files, and folders of them")
    add(
        "--last-good",
        action="store_true",
        help="if the rule files have a mistake, play those that ran last (default: refuse)",
    )
    add_daemon_name(parser)
    add_backend(parser)
    add("--record", metavar="FOLDER", type=file_name, help="record everything to this folder (default: off)")


def _call(arguments: argparse.Namespace) -> int:
    from router.daemon.daemon import run
    from router.daemon.run_settings import RunSettings

    return run(
        RunSettings(tuple(arguments.rules), arguments.name, arguments.backend, arguments.record, arguments.last_good)
    )
