"""The commands on the computer's ports: `ports`, `listen`, `send`."""

from __future__ import annotations

import argparse
import re
from typing import Any, Final

from router.commands.parsing import add_backend, command, file_name, length
from router.settings import ListenSettings, PortsSettings, SendSettings

_PORTS_ABOUT = """\
Lists the MIDI ports of this computer, with what to write for each into a rule file. With rule files it says which of
them each port of yours means, and which are missing."""

_PORTS_MORE = """\
examples:
  pointsman ports
  pointsman ports pit.toml               is everything plugged in that these rules need?

exit codes: 0 all is well; 1 a port of the rule files is missing, or could be several"""

_LISTEN_ABOUT = """\
Says in words what arrives, a line a message, with the time since the one before. For "what does this pedal send?" and
"does anything arrive at all?". Clock, active sensing and time code are folded into a reading. Also beside a daemon."""

_LISTEN_MORE = """\
examples:
  pointsman listen                                   every port
  pointsman listen "Stage 88*"                       one port, by a part of its name
  pointsman listen --only note --channel 10          the drums
  pointsman listen --without clock --bytes           with the bytes beside the words
  pointsman listen --virtual test                    makes a port that another program can send to
  pointsman listen --for 10s --json                  a line of JSON for each message, for ten seconds

Keys are named with middle C as C4. Where two programs can't listen to one port at the same time, as on Windows, end the
daemon first."""

_SEND_ABOUT = """\
Sends a message, or several, to one port: is this cable the right one, does the module answer on this channel? Notes are
ended by themselves."""

_SEND_MORE = """\
examples:
  pointsman send "Rack*" note-on 1 C4 60             a soft note, half a second long
  pointsman send "Rack*" "program 1 5" "note-on 1 C4 60" --hold 2s
  pointsman send "Rack*" controller 1 "all notes off" 0
  pointsman send "Rack*" F0 7D 01 F7                 bytes in hex
  pointsman send --virtual test note-on 1 C4 60      makes a port, and waits until it is connected

Turn the volume down first: nobody knows how loud an instrument answers, and a program or volume message can make the
next note much louder. The daemon isn't asked: messages go past its rules."""

KINDS: Final = """\
note, note-on, note-off, key-pressure, controller, program, channel-pressure, pitch-bend, sysex, transport, clock, \
start, continue, stop, song-position, song-select, tune-request, mtc, active-sensing, reset"""
"""Those of `rules.listening.incoming`, which isn't imported to read a command line."""


def add_commands(commands: Any) -> None:
    """Add the parsers of this group."""
    _add_ports(commands)
    _add_listen(commands)
    _add_send(commands)


def _add_ports(commands: Any) -> None:
    parser = command(
        commands.add_parser, "ports", _PORTS_ABOUT, _PORTS_MORE, help="list the MIDI ports of this computer"
    )
    parser.set_defaults(call=_ports)
    parser.add_argument(
        "rules", metavar="RULES", type=file_name, nargs="*", help="rule files, and folders of them, whose ports to find"
    )
    add_backend(parser)
    parser.add_argument("--json", action="store_true", help="print the list as JSON")


def _add_listen(commands: Any) -> None:
    parser = command(commands.add_parser, "listen", _LISTEN_ABOUT, _LISTEN_MORE, help="say in words what arrives")
    parser.set_defaults(call=_listen)
    add = parser.add_argument
    add("ports", metavar="PORT", nargs="*", help="names of ports, * for any letters; without any, every port")
    add("--virtual", metavar="NAME", action="append", default=[], help="make a port that other programs send to")
    add("--only", metavar="KINDS", type=_kinds, action="append", default=[], help=f"only these: {KINDS}")
    add("--without", metavar="KINDS", type=_kinds, action="append", default=[], help="all but these")
    add("--channel", metavar="N", type=_channels, action="append", default=[], help="only these channels: 10, or 1..4")
    add("--bytes", action="store_true", help="print the bytes as well")
    add("--for", dest="duration", metavar="TIME", type=length, help="end after this time: 10s, 5m")
    add("--count", metavar="N", type=_count, help="end after so many messages")
    add_backend(parser)
    add("--json", action="store_true", help="print a line of JSON for each message")


def _add_send(commands: Any) -> None:
    usage = "pointsman send [-h] [--virtual] [--hold TIME] [--wait TIME] [--backend SYSTEM] [--json] PORT MESSAGE..."
    parser = command(
        commands.add_parser, "send", _SEND_ABOUT, _SEND_MORE, help="send a message to try a cable", usage=usage
    )
    parser.set_defaults(call=_send)
    add = parser.add_argument
    add("port", metavar="PORT", type=file_name, help="the name of a port, * for any letters")
    add("words", metavar="MESSAGE", nargs="+", help="in words (several: each in quotes), or bytes in hex")
    add("--virtual", action="store_true", help="make a port of this name, and send from it")
    add("--hold", metavar="TIME", type=length, default=0.5, help="end notes after this time (0.5s)")
    add("--wait", metavar="TIME", type=length, help="with --virtual: send after this time, not on Enter")
    add_backend(parser)
    add("--json", action="store_true", help="print what was sent as JSON")


def _kinds(text: str) -> tuple[str, ...]:
    names = tuple(name.strip() for name in text.split(","))
    for name in names:
        if name not in KINDS.split(", "):
            raise argparse.ArgumentTypeError(f'"{name}" is no kind of message; kinds are {KINDS}')
    return names


def _channels(text: str) -> range:
    found = re.fullmatch(r"(\d{1,2})(?:\.\.(\d{1,2}))?", text)
    low, high = (int(found[1]), int(found[2] or found[1])) if found else (0, 0)
    if not 1 <= low <= high <= 16:
        raise argparse.ArgumentTypeError(f'"{text}" is no channel: write 1 to 16, or a range like 1..4')
    return range(low, high + 1)


def _count(text: str) -> int:
    if not text.isdigit() or int(text) < 1:
        raise argparse.ArgumentTypeError(f'"{text}" is not a number of messages: write 1 or more')
    return int(text)


def _ports(arguments: argparse.Namespace) -> int:
    from router.listing import ports
    from router.midi.library_stderr import Noise

    with Noise():
        return ports(PortsSettings(tuple(arguments.rules), arguments.backend, arguments.json))


def _listen(arguments: argparse.Namespace) -> int:
    settings = ListenSettings(
        ports=tuple(arguments.ports),
        virtual=tuple(arguments.virtual),
        only=tuple(name for names in arguments.only for name in names),
        without=tuple(name for names in arguments.without for name in names),
        channels=frozenset(channel for channels in arguments.channel for channel in channels),
        duration=arguments.duration,
        most=arguments.count,
        bytes=arguments.bytes,
        backend=arguments.backend,
        json=arguments.json,
    )
    from router.listen import listen
    from router.midi.library_stderr import Noise

    with Noise():
        return listen(settings)


def _send(arguments: argparse.Namespace) -> int:
    settings = SendSettings(
        port=arguments.port,
        words=tuple(arguments.words),
        virtual=arguments.virtual,
        hold=arguments.hold,
        wait=arguments.wait,
        backend=arguments.backend,
        json=arguments.json,
    )
    from router.midi.library_stderr import Noise
    from router.send import send

    with Noise():
        return send(settings)
