"""The command `listen`: a line for each message that arrives, with the message first and its port last."""

from __future__ import annotations

import argparse
import re
from typing import Final

from router.cli.parsing import add_backend, length

ABOUT: Final = """\
Show each message that arrives, in words. You need it for "what does this pedal send?" and "does anything arrive at
all?". The time is that since the message before. Clock, active sensing and time code are shown once, and when they
change or end. It works while a daemon runs."""

MORE: Final = """\
examples:
  pointsman listen                                   every port
  pointsman listen "Pit Keyboard*"                   one port, by a part of its name
  pointsman listen --only note --channel 10          the drums
  pointsman listen --without clock --bytes           with the bytes as well
  pointsman listen --virtual test                    makes a port that another program can send to
  pointsman listen --for 10s --json                  a line of JSON for each message, for ten seconds

Middle C is shown as C4. Long names of ports are shortened in the middle; --json has them whole. On Windows, two
programs can't listen to one port at the same time. End the daemon first there."""

KINDS: Final = """\
note, note-on, note-off, key-pressure, controller, program, channel-pressure, pitch-bend, sysex, transport, clock, \
start, continue, stop, song-position, song-select, tune-request, mtc, active-sensing, reset"""


def add_options(parser: argparse.ArgumentParser) -> None:
    """Add the options of the command."""
    parser.set_defaults(call=_call)
    add = parser.add_argument
    add(
        "ports", metavar="PORT", nargs="*", help="listen to ports of this name, * for any letters (default: every port)"
    )
    add(
        "--virtual",
        metavar="NAME",
        action="append",
        default=[],
        help="make a port that other programs send to (default: none)",
    )
    add(
        "--only",
        metavar="KINDS",
        type=_kinds,
        action="append",
        default=[],
        help=f"show only these kinds (default: all): {KINDS}",
    )
    add(
        "--without",
        metavar="KINDS",
        type=_kinds,
        action="append",
        default=[],
        help="leave these kinds out (default: none)",
    )
    add(
        "--channel",
        metavar="N",
        type=_channels,
        action="append",
        default=[],
        help="show only these channels: 10, or 1..4 (default: all)",
    )
    add("--bytes", action="store_true", help="show the bytes as well (default: off)")
    add(
        "--for",
        dest="duration",
        metavar="TIME",
        type=length,
        help="end after this time: 10s, 5m (default: at Ctrl-C)",
    )
    add("--count", metavar="N", type=_count, help="end after this many messages (default: at Ctrl-C)")
    add_backend(parser)
    add("--json", action="store_true", help="print a line of JSON for each message (default: text)")


def _kinds(text: str) -> tuple[str, ...]:
    from rules.midi.kind_names import kind_named

    words = [word.strip() for word in text.split(",")]
    names = tuple(kind_named(word) for word in words)
    for word, name in zip(words, names, strict=True):
        if name not in KINDS.split(", "):
            raise argparse.ArgumentTypeError(f'"{word}" isn\'t a kind of message: write one of {KINDS}')
    return names


def _channels(text: str) -> range:
    found = re.fullmatch(r"(\d{1,2})(?:\.\.(\d{1,2}))?", text)
    low, high = (int(found[1]), int(found[2] or found[1])) if found else (0, 0)
    if not 1 <= low <= high <= 16:
        raise argparse.ArgumentTypeError(f'"{text}" isn\'t a channel: write 1 to 16, or a range such as 1..4')
    return range(low, high + 1)


def _count(text: str) -> int:
    if not text.isdigit() or int(text) < 1:
        raise argparse.ArgumentTypeError(f'"{text}" isn\'t a number of messages: write 1 or more')
    return int(text)


def _call(arguments: argparse.Namespace) -> int:
    from router.cli.incoming_report import ListenSettings, listen
    from router.midi.library_stderr import LibraryStderr

    settings = ListenSettings(
        ports=tuple(arguments.ports),
        virtual=tuple(arguments.virtual),
        only=tuple(name for names in arguments.only for name in names),
        without=tuple(name for names in arguments.without for name in names),
        channels=frozenset(channel for channels in arguments.channel for channel in channels),
        duration_s=arguments.duration,
        most=arguments.count,
        bytes=arguments.bytes,
        backend=arguments.backend,
        json=arguments.json,
    )
    with LibraryStderr():
        return listen(settings)
