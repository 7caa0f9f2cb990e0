"""The commands for setting up a rig: `learn`, `soundcheck`."""

from __future__ import annotations

import argparse
import math
from typing import Any

from router.commands.parsing import add_backend, command, file_name
from router.settings import LearnSettings, SoundcheckSettings

_LEARN_ABOUT = """\
Says what you press or move: port, channel and number, and prints lines that are ready for the rule file. Listens to
every port of the computer, also beside a daemon that runs."""

_LEARN_MORE = """\
examples:
  pointsman learn                        press a key, a pad or a pedal, turn a knob; Ctrl-C ends it
  pointsman learn pit.toml               calls the ports as this rule file does
  pointsman learn --json                 a line of JSON for each thing that was touched

Lines for a switch and lines for a rule are two ways to use the same pad: take the one you want. Where two programs
can't listen to one port at the same time, as on Windows, end the daemon first."""

_SOUNDCHECK_ABOUT = """\
Plays a soft note on each device in turn and says which device, port, channel and key it is: you hear whether every
cable is where it should be. The note goes through the device's own steps, and messages that it is sent at the start go
first. Ports that are missing are told."""

_SOUNDCHECK_MORE = """\
examples:
  pointsman soundcheck pit.toml                  Enter goes on to the next device
  pointsman soundcheck pit.toml --seconds 3      goes on by itself

Turn the volume down first: how loud a soft note is depends on the instrument. Every note is ended, also with Ctrl-C.

exit codes: 0 every device was played; 1 a port is missing, or a device let no note through"""


def add_commands(commands: Any) -> None:
    """Add the parsers of this group."""
    _add_learn(commands)
    _add_soundcheck(commands)


def _add_learn(commands: Any) -> None:
    parser = command(
        commands.add_parser, "learn", _LEARN_ABOUT, _LEARN_MORE, help="say what you press, and write it down"
    )
    parser.set_defaults(call=_learn)
    add = parser.add_argument
    add("rules", metavar="RULES", type=file_name, nargs="*", help="rule files whose names for ports are to be used")
    add_backend(parser)
    add("--json", action="store_true", help="print a line of JSON for each thing that was touched")


def _add_soundcheck(commands: Any) -> None:
    parser = command(
        commands.add_parser,
        "soundcheck",
        _SOUNDCHECK_ABOUT,
        _SOUNDCHECK_MORE,
        help="a soft note to each device in turn",
    )
    parser.set_defaults(call=_soundcheck)
    add = parser.add_argument
    add("rules", metavar="RULES", type=file_name, nargs="+", help="rule files, and folders of them (*.toml, by name)")
    add("--seconds", metavar="N", type=_seconds, help="how long each note sounds; without it, until you press Enter")
    add_backend(parser)
    add("--json", action="store_true", help="print the outcome as JSON; each note sounds for 2 seconds then")


def _seconds(text: str) -> float:
    try:
        seconds = float(text)
    except ValueError:
        seconds = math.nan
    if not 0.1 <= seconds <= 60:
        raise argparse.ArgumentTypeError(f'"{text}" is not a time for a note: write seconds from 0.1 to 60')
    return seconds


def _learn(arguments: argparse.Namespace) -> int:
    from router.learn import learn
    from router.midi.library_stderr import Noise

    with Noise():
        return learn(LearnSettings(tuple(arguments.rules), arguments.backend, arguments.json))


def _soundcheck(arguments: argparse.Namespace) -> int:
    settings = SoundcheckSettings(tuple(arguments.rules), arguments.seconds, arguments.backend, arguments.json)
    from router.midi.library_stderr import Noise
    from router.soundcheck import soundcheck

    with Noise():
        return soundcheck(settings)
