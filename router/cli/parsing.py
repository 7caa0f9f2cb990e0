"""What the parsers of all commands share."""

from __future__ import annotations

import argparse
from collections.abc import Callable
from typing import Any, Final

from router.daemon.run_settings import STANDARD_NAME
from rules.errors import PointsmanError

BACKEND_NAMES: Final = ("alsa", "jack", "coremidi", "winmm")
"""Those of `router.midi.backend_choice`, which isn't imported to read a command line."""

CAUTION: Final = """\
New rules can change levels suddenly. Turn the volume down before you play the result for the first time."""


def command(make: Any, name: str, about: str, more: str, **keywords: Any) -> argparse.ArgumentParser:
    """A parser whose texts stay as they are written here."""
    keywords.setdefault("formatter_class", argparse.RawDescriptionHelpFormatter)
    parser: argparse.ArgumentParser = make(name, description=about, epilog=more, allow_abbrev=False, **keywords)
    return parser


def file_name(text: str) -> str:
    """A file or folder. An unset variable of the shell gives an empty name, which would mean the current folder."""
    if not text:
        raise argparse.ArgumentTypeError("the name is empty: write one (is a variable of your shell unset?)")
    return text


def add_daemon_name(parser: argparse.ArgumentParser) -> None:
    """Add the option that tells daemons apart."""
    option = parser.add_argument(
        "--name", metavar="NAME", default=STANDARD_NAME, help=f'the name of the daemon (default: "{STANDARD_NAME}")'
    )
    completed_by(option, _names_of_daemons)


def add_backend(parser: argparse.ArgumentParser, use: str = "use this MIDI system of the computer") -> None:
    """Add the option that chooses the MIDI system."""
    parser.add_argument(
        "--backend",
        metavar="SYSTEM",
        choices=BACKEND_NAMES,
        help=f"{use}: {', '.join(BACKEND_NAMES)} (default: the first that is there)",
    )


def add_playing(parser: argparse.ArgumentParser) -> None:
    """Add the option that says which port plays a recording, or one of its tracks: `playing`, a list of texts."""
    parser.add_argument(
        "--from",
        dest="playing",
        metavar="SOURCE",
        action="append",
        default=[],
        help='the port that the recording plays as; "Track name=SOURCE" or "#2=SOURCE" for one track '
        "(default: the port of the rules, if there is only one)",
    )


def add_more_rules(parser: argparse.ArgumentParser) -> None:
    """Add the option that names rule files besides the first one: `more_rules`, a list of names."""
    parser.add_argument(
        "--rules",
        dest="more_rules",
        metavar="MORE",
        type=file_name,
        action="append",
        default=[],
        help="more rule files or folders (default: none)",
    )


def completed_by(argument: argparse.Action, words: Callable[..., list[str]]) -> None:
    """Let the shell offer `words` for an argument, and nothing where they can't be had."""

    def offered(**keywords: Any) -> list[str]:
        try:
            return words(**keywords)
        except PointsmanError:
            return []

    argument.completer = offered  # type: ignore[attr-defined]  # where argcomplete looks for it


def _names_of_daemons(**_: Any) -> list[str]:
    from router.daemon.control_client import running_daemons

    return running_daemons()


def length(text: str) -> float:
    """A length of time in seconds."""
    from router.text.durations import parse_duration

    try:
        return parse_duration(text)
    except ValueError as error:
        raise argparse.ArgumentTypeError(str(error)) from None
