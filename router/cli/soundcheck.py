"""The command `soundcheck`: a soft note to each device in turn, to hear whether every cable is where it should be."""

from __future__ import annotations

import argparse
import math
from typing import Final

from router.cli.parsing import add_backend, file_name

ABOUT: Final = """\
Play a soft note on each device, one after the other, and show device, port, channel and key. You hear whether every
cable is right. The note goes through the steps of the device, after its setup messages."""

MORE: Final = """\
examples:
  pointsman soundcheck pit.toml                  press Enter for the next device
  pointsman soundcheck pit.toml --seconds 3      goes on by itself

Turn the volume down first: how loud a soft note is depends on the instrument. Every note ends, also with Ctrl-C.

exit codes: 0 every device was played; 1 a port is missing, or a device let no note through"""


def add_options(parser: argparse.ArgumentParser) -> None:
    """Add the options of the command."""
    parser.set_defaults(call=_call)
    add = parser.add_argument
    add("rules", metavar="RULES", type=file_name, nargs="+", help="rule files, and folders of them")
    add("--seconds", metavar="N", type=_seconds, help="how long each note sounds (default: until you press Enter)")
    add_backend(parser)
    add("--json", action="store_true", help="print the result as JSON, with notes of 2 seconds (default: text)")


def _seconds(text: str) -> float:
    try:
        seconds = float(text)
    except ValueError:
        seconds = math.nan
    if not 0.1 <= seconds <= 60:
        raise argparse.ArgumentTypeError(f'"{text}" is not a time for a note: write seconds from 0.1 to 60')
    return seconds


def _call(arguments: argparse.Namespace) -> int:
    from router.cli.note_player import SoundcheckSettings, soundcheck
    from router.midi.library_stderr import LibraryStderr

    settings = SoundcheckSettings(tuple(arguments.rules), arguments.seconds, arguments.backend, arguments.json)
    with LibraryStderr():
        return soundcheck(settings)
