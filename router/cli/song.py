"""The command `song`: go to another song of the running daemon, or show which one plays.

The data (`--json`) is one object; `at` counts from 0:

    {"command": "song", "ok": true, "song": "Harbour Lights", "at": 0, "names": ["Harbour Lights", "Tide or Ebb"]}
"""

from __future__ import annotations

import argparse
import json
from collections.abc import Mapping
from typing import Any, Final, NamedTuple

from router.cli.parsing import add_daemon_name, completed_by
from router.daemon.control_client import ask_daemon
from router.daemon.run_settings import STANDARD_NAME
from router.daemon.song_choice import SONG_STEPS, song_meant
from router.text.exit_codes import FINE
from router.text.formatting import plain
from router.text.terminal import say
from rules.errors import MachineError

ABOUT: Final = """\
Go to another song of the running daemon, as a pedal or pad would. Without an argument, show which song it is."""

MORE: Final = """\
examples:
  pointsman song                         show the songs, and which one it is
  pointsman song next                    go on to the next song
  pointsman song previous                go back to the song before
  pointsman song "Harbour Lights"        choose a song; its messages go out again if it is that one already

A song that is named "next" or "previous": pointsman switch song=next"""


class SongSettings(NamedTuple):
    """To which song `song` shall go: "next", "previous" or a name; None only shows them. `name` is the daemon's."""

    to: str | None = None
    name: str = STANDARD_NAME
    json: bool = False


def add_options(parser: argparse.ArgumentParser) -> None:
    """Add the options of the command."""
    parser.set_defaults(call=_call)
    to = parser.add_argument(
        "to", metavar="SONG", nargs="?", help="next, previous, or the name of a song (default: only show)"
    )
    completed_by(to, _words)
    add_daemon_name(parser)
    parser.add_argument("--json", action="store_true", help="print the songs as JSON (default: text)")


def _words(parsed_args: argparse.Namespace, **_: Any) -> list[str]:
    return [*SONG_STEPS, *_songs_of(parsed_args.name, patience_s=1.0)["names"]]


def _call(arguments: argparse.Namespace) -> int:
    return song(SongSettings(arguments.to, arguments.name, arguments.json))


def song(settings: SongSettings) -> int:
    """Go to a song and say which one it is; return the exit code.

    Raises MachineError if no such daemon runs, its rules have no songs or no such song, or there is none to go on to.
    """
    songs = _songs_of(settings.name)
    if settings.to is not None:
        ask_daemon(settings.name, "switch", name="song", value=song_meant(settings.to, songs))
        songs = _songs_of(settings.name)
    names, at = songs["names"], songs["at"]
    if settings.json:
        say([json.dumps({"command": "song", "ok": True, "song": names[at], "at": at, "names": names}, indent=2)])
    elif settings.to is None:
        say(f"{'>' if number == at else ' '} {number + 1:3}.  {plain(name)}" for number, name in enumerate(names))
    else:
        say([f"song {at + 1} of {len(names)}: {plain(names[at])}"])
    return FINE


def _songs_of(name: str, **patience: float) -> Mapping[str, Any]:
    songs: Mapping[str, Any] | None = ask_daemon(name, "status", **patience)["songs"]
    if songs is None:
        raise MachineError("the rules of this daemon have no songs: write a header [[songs]] for each")
    return songs
