"""The command `learn`: says what was pressed or moved, and the lines that the rule file needs for it."""

from __future__ import annotations

import argparse
from typing import Final

from router.cli.parsing import add_backend, file_name

ABOUT: Final = """\
Show what you press or move: port, channel and number, with lines for the rule file. You need it before you write a
rule. It listens to every port of the computer, also while a daemon runs."""

MORE: Final = """\
examples:
  pointsman learn                        press a key, a pad or a pedal, or turn a knob
  pointsman learn pit.toml               use the port names of this rule file
  pointsman learn --json                 print a line of JSON for each control

Ctrl-C ends it. You can use a pad for a switch or in a rule: copy the lines you want. On Windows, two programs can't
listen to one port at the same time. End the daemon first there."""


def add_options(parser: argparse.ArgumentParser) -> None:
    """Add the options of the command."""
    parser.set_defaults(call=_call)
    add = parser.add_argument
    add(
        "rules",
        metavar="RULES",
        type=file_name,
        nargs="*",
        help="use the port names of these rule files (default: the computer's)",
    )
    add_backend(parser)
    add("--json", action="store_true", help="print a line of JSON for each control (default: text)")


def _call(arguments: argparse.Namespace) -> int:
    from router.cli.gesture_report import LearnSettings, learn
    from router.midi.library_stderr import LibraryStderr

    with LibraryStderr():
        return learn(LearnSettings(tuple(arguments.rules), arguments.backend, arguments.json))
