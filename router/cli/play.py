"""The command `play`: takes, in time, as inputs of the running daemon, or of rules without one."""

from __future__ import annotations

import argparse
import re
from typing import Any, Final

from router.cli.parsing import CAUTION, add_backend, add_daemon_name, completed_by, file_name

ABOUT: Final = """\
Play recordings, in time, as if somebody played them at an input of the running daemon. You need it for a backing
track, or to try rules without a player. The rules apply, the keyboard at that input plays along, and when the
command ends, all that the recording holds ends. With --rules it plays without a daemon."""

MORE: Final = f"""\
examples:
  pointsman play take.mid --as keys                       as what the input "keys" plays, in the running daemon
  pointsman play take.mid --as keys --rules pit.toml      without a daemon: opens the ports, and plays until the end
  pointsman play take.mid --as keys --track "Drums=pads"  the track "Drums" plays as pads, the rest as keys
  pointsman play take.mid --from-bar 17                   from bar 17, with the sounds and controllers set before it
  pointsman play take.mid --loop                          again and again; --loop 17..24 repeats these bars
  pointsman play take.mid --tempo clock                   by the clock that runs: begins with its start or continue
  pointsman play songs/ --as seq --wait                   a folder: Enter, or "take next", begins each recording

On a terminal Enter goes to the next recording, and p with Enter pauses and goes on. A pedal does that too: give a
switch do = "take next", "take pause" or "take end" (pointsman help switches).

exit codes: 0 it was played, or Ctrl-C ended it; 1 one of several can't be played; 2 it can't be played

{CAUTION}"""

_BARS: Final = re.compile(r"(\d+)\.\.(\d+)")


def add_options(parser: argparse.ArgumentParser) -> None:
    """Add the options of the command."""
    parser.set_defaults(call=_call)
    add = parser.add_argument
    add("takes", metavar="TAKE", type=file_name, nargs="+", help="a MIDI file, or a folder of them: by name")
    source = add(
        "--as",
        dest="source",
        metavar="SOURCE",
        help="the input that the recording plays as (default: the input of the rules, if there is only one)",
    )
    completed_by(source, _names_of_inputs)
    add(
        "--track",
        dest="tracks",
        metavar='"TRACK=SOURCE"',
        action="append",
        default=[],
        help='play one track as another input: "Track name=SOURCE" or "#2=SOURCE" (default: all as the same one)',
    )
    add(
        "--tempo",
        choices=("take", "clock"),
        default="take",
        help="play by the tempo in the recording, or follow the clock that runs (default: take)",
    )
    add("--from-bar", metavar="BAR", type=_bar, help="begin with this bar (default: the first)")
    add(
        "--loop",
        metavar="BARS",
        type=_bars,
        nargs="?",
        const=ALL_BARS,
        help="repeat the recording, or bars of it, as in 17..24 (default: play it once)",
    )
    add("--wait", action="store_true", help="wait for Enter or a pedal before each recording (default: begin at once)")
    add("--no-clock", action="store_true", help="don't send the recording's tempo as clock (default: send it)")
    add(
        "--rules",
        metavar="RULES",
        type=file_name,
        action="append",
        default=[],
        help="play by these rule files or folders, without a daemon (default: in the running daemon)",
    )
    add_daemon_name(parser)
    add_backend(parser, "with --rules, use this MIDI system of the computer")
    add("--json", action="store_true", help="print the result as JSON (default: text)")


def _names_of_inputs(parsed_args: argparse.Namespace, **_: Any) -> list[str]:
    from router.daemon.control_client import ask_daemon

    ports = ask_daemon(parsed_args.name, "status", patience_s=1.0)["ports"]
    return [port["name"] for port in ports if port["direction"] == "in"]


ALL_BARS: Final = (0, 0)
"""What `--loop` means without bars."""


def _bar(text: str) -> int:
    if not text.isdecimal() or int(text) < 1:
        raise argparse.ArgumentTypeError(f'"{text}" isn\'t a bar: write 1 or more')
    return int(text)


def _bars(text: str) -> tuple[int, int]:
    match = _BARS.fullmatch(text)
    first, last = (int(number) for number in match.groups()) if match else (0, 0)
    if not 1 <= first <= last:
        raise argparse.ArgumentTypeError(f'"{text}" isn\'t a range of bars: write the first and the last, as in 17..24')
    return first, last


def _call(arguments: argparse.Namespace) -> int:
    from router.cli.played_takes import play
    from router.cli.take_session import PlaySettings

    return play(
        PlaySettings(
            takes=tuple(arguments.takes),
            source=arguments.source,
            tracks=tuple(arguments.tracks),
            by_clock=arguments.tempo == "clock",
            from_bar=arguments.from_bar,
            loops=arguments.loop is not None,
            bars=arguments.loop if arguments.loop != ALL_BARS else None,
            waits=arguments.wait,
            sends_clock=not arguments.no_clock,
            rules=tuple(arguments.rules),
            name=arguments.name,
            backend=arguments.backend,
            json=arguments.json,
        )
    )
