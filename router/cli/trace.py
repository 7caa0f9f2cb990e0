"""The command `trace`: where a message goes, and why.

The data (`--json`) is one object, `arrives` telling what comes out where:

    {"command": "trace", "ok": true, "from": "keys",
     "messages": [{"message": "note-on 1 C4 100", "bytes": "90 3C 64",
                   "lines": [{"depth": 0, "text": "rule \\"keyboard\\": takes it"}],
                   "arrives": [{"port": "rack1", "message": "note-on 4 C4 100", "bytes": "93 3C 64"}]}]}
"""

from __future__ import annotations

import argparse
import json
from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, Final, NamedTuple

from router.cli.message_arguments import read_messages
from router.cli.parsing import add_daemon_name, file_name, length
from router.text.exit_codes import FINE
from router.text.formatting import plain
from router.text.message_data import message_data
from router.text.terminal import say
from router.text.usage import UsageError
from rules.midi.messages import KEY_PRESSURE, NOTE_OFF, NOTE_ON
from rules.midi.notation import Naming, format_message, in_hex
from rules.midi.pitch import hertz

if TYPE_CHECKING:
    from rules.analysis.trace_line import TraceLine

ABOUT: Final = """\
Show where messages go, and why: through every rule and step. You need it for "why is the organ silent?".
With --last it explains what just happened in the running daemon: what arrived, where it went, and which notes are
held. You need that for "which key hangs?". With --take it explains one beat of a recording: what sounds there, and
what becomes of each message."""

MORE: Final = """\
examples:
  pointsman trace pit.toml --from keys note-on 1 C4 100
  pointsman trace pit.toml --from keys "note-on 1 C4 100" "controller 1 sustain 127"
  pointsman trace pit.toml --from keys 90 3C 64                        the same first message, in hex
  pointsman trace pit.toml --switch song=chorus --from keys note-on 1 C4 100
  pointsman trace --last                                               the last 30 seconds of the running daemon
  pointsman trace --last 5m --json                                     more of it, for programs
  pointsman trace pit.toml --take take.mid --at 12:3 --from keys       bar 12, beat 3 of a recording

Several messages are played one after the other: each finds the switches and notes that those before it leave.
At first nothing is held, and switches have their initial states unless --switch sets them.
With --last you see it as it was, with the switches and rules of each moment."""


_USUAL_LAST_S: Final = 30.0


class TraceSettings(NamedTuple):
    """What `trace` shall do: `words` are the messages as written, `switches` the texts of `--switch`."""

    rules: tuple[str, ...]
    source: str
    words: tuple[str, ...]
    switches: tuple[str, ...] = ()
    json: bool = False


def add_options(parser: argparse.ArgumentParser) -> None:
    """Add the options of the command."""
    parser.usage = (
        "pointsman trace [-h] [--switch NAME=VALUE] [--json] RULES... --from PORT MESSAGE...\n"
        "       pointsman trace [-h] [--switch NAME=VALUE] [--json] RULES... --take FILE --at BAR:BEAT [--from PORT]\n"
        "       pointsman trace [-h] --last [TIME] [--name NAME] [--json]"
    )
    parser.set_defaults(call=_call)
    add = parser.add_argument
    add("rules", metavar="RULES", type=file_name, nargs="*", help="rule files, and folders of them")
    add(
        "--from",
        dest="arriving",
        metavar=("PORT", "MESSAGE"),
        nargs="+",
        action="append",
        default=[],
        help="the port on which messages arrive, then the messages: in words or hex, several in quotes each. With "
        '--take it is the port that the take plays as, and "Track name=PORT" or "#2=PORT" is for one track. '
        "(default: the port of the rules, if there is only one)",
    )
    add("--take", metavar="FILE", type=file_name, help="explain a moment of this .mid file (default: none)")
    add("--at", metavar="BAR:BEAT", type=_beat, help="the moment: a beat, counted from 1 (required with --take)")
    add(
        "--switch",
        dest="switches",
        metavar="NAME=VALUE",
        action="append",
        default=[],
        help="set a switch: up=on, song=chorus, key=-2 (default: its initial state)",
    )
    add(
        "--last",
        metavar="TIME",
        type=length,
        nargs="?",
        const=_USUAL_LAST_S,
        help="explain what just happened in the running daemon: 90s, 5m (default: 30s)",
    )
    add_daemon_name(parser)
    add("--json", action="store_true", help="print the findings as JSON (default: text)")


def _beat(text: str) -> tuple[int, int]:
    bar, _, beat = text.partition(":")
    if not (bar.isdecimal() and beat.isdecimal()):
        raise argparse.ArgumentTypeError(f'"{text}" is not a beat: write bar and beat, as in 12:3')
    return int(bar), int(beat)


def _call(arguments: argparse.Namespace) -> int:
    if arguments.last is not None:
        if arguments.rules or arguments.arriving or arguments.switches or arguments.take:
            raise UsageError("--last looks at the running daemon: write only trace --last TIME")
        from router.cli.history import HistorySettings, history

        return history(HistorySettings(arguments.last, arguments.name, arguments.json))
    if arguments.take is not None or arguments.at is not None:
        return _trace_take(arguments)
    if not arguments.rules or not arguments.arriving:
        raise UsageError("write rule files and a message, as in: trace pit.toml --from keys note-on 1 C4 100")
    if len(arguments.arriving) > 1:
        raise UsageError("write --from once, and all messages behind it, each in quotes")
    source, *words = arguments.arriving[0]
    return trace(TraceSettings(tuple(arguments.rules), source, tuple(words), tuple(arguments.switches), arguments.json))


def _trace_take(arguments: argparse.Namespace) -> int:
    if arguments.take is None or arguments.at is None or not arguments.rules:
        raise UsageError("write rule files, a take and a beat, as in: trace pit.toml --take take.mid --at 12:3")
    from router.cli.take_moment import TakeTraceSettings, trace_moment

    for words in arguments.arriving:
        if sum("=" not in word for word in words) > 1:  # there is one port for the tracks without one of their own
            raise UsageError(
                "messages don't go with --take: write only the port behind --from, or leave out --take and --at"
            )
    playing = tuple(source for sources in arguments.arriving for source in sources)
    switches = tuple(arguments.switches)
    rules = tuple(arguments.rules)
    return trace_moment(TakeTraceSettings(rules, arguments.take, arguments.at, playing, switches, arguments.json))


def trace(settings: TraceSettings) -> int:
    """Print where each message goes; return the exit code. Raises UsageError, RuleFileError or MachineError."""
    if not settings.words:
        raise UsageError("write the message after the port, as in: --from keys note-on 1 C4 100")
    from router.cli.source_arguments import known_source
    from router.files.rule_files import read_rule_files
    from router.files.switch_values import read_switch
    from rules.analysis.trace_sequence import trace_sequence
    from rules.rulefile.reading import read_rule_set

    reading = read_rule_set(read_rule_files(settings.rules))
    ruleset = reading.ruleset
    source = known_source(settings.source, ruleset)
    naming = reading.ports[source].source.naming
    switches = dict(read_switch(text, ruleset) for text in settings.switches)
    messages = read_messages(settings.words, naming)
    stories = trace_sequence(ruleset, source, messages, switches, naming)
    traced = [Traced(one, story, naming) for one, story in zip(messages, stories, strict=True)]
    if settings.json:
        data = {"command": "trace", "ok": True, "from": source, "messages": [one.data() for one in traced]}
        say([json.dumps(data, indent=2)])
    else:
        say(line for at, one in enumerate(traced) for line in ([""] if at else []) + one.in_words(source))
    return FINE


@dataclass(frozen=True, slots=True)
class Traced:
    """One message, where it went, and how its rule file names notes."""

    message: bytes
    lines: Sequence[TraceLine]
    naming: Naming

    def in_words(self, source: str) -> list[str]:
        """Return the lines to print."""
        head = f"{format_message(self.message, self.naming)}  ({in_hex(self.message)}{self._key()})  from {source}"
        return [head, *("  " * (line.depth + 1) + plain(line.text) for line in self.lines)]

    def _key(self) -> str:
        """The key by number and pitch: note names alone leave the octave open, as middle C is C3 or C4."""
        if self.message[0] & 0xF0 not in (NOTE_ON, NOTE_OFF, KEY_PRESSURE):
            return ""
        return f", key {self.message[1]}, {hertz(self.message[1]):.1f} Hz"

    def data(self) -> dict[str, Any]:
        """Return the same for programs."""
        lines = [{"depth": line.depth, "text": line.text} for line in self.lines]
        arrived = [arrival for line in self.lines for arrival in line.outcomes]
        arrives = [{"port": port, **message_data(message, self.naming)} for port, message in arrived]
        return {**message_data(self.message, self.naming), "lines": lines, "arrives": arrives}
