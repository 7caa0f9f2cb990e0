"""The commands on rule files and recordings: `rewrite`, `check`, `trace`."""

from __future__ import annotations

import argparse
from typing import Any, Final

from router.batch.rewrite_settings import RewriteSettings
from router.commands.parsing import CAUTION, add_daemon_name, command, file_name, length
from router.settings import CheckSettings, LatelySettings, TraceSettings
from router.text.usage import UsageError

_REWRITE_ABOUT = """\
Puts recordings through the rules, as if they were played live: wrong channels, missing splits, wild velocities are
mended in the files themselves. What the rules leave alone stays, to the byte; what no rule takes is left out. The
originals are never harmed."""

_REWRITE_MORE = f"""\
examples:
  pointsman rewrite pit.toml take.mid -o mended.mid           one recording
  pointsman rewrite pit.toml takes/ -o mended/                a folder and all below it, names kept
  pointsman rewrite pit.toml takes/ --in-place                the files themselves; a backup stays beside each
  pointsman rewrite pit.toml takes/ --dry-run                 only say what would change
  pointsman rewrite pit.toml takes/ -o mended/ --resume       take up a run that was stopped
  pointsman rewrite pit.toml take.mid -o out/ --per-port      a file for each output port: out/take.rack1.mid ...
  pointsman rewrite pit.toml take.mid -o out/ --from seq --from "Stage piano=keys"
                                                              the track "Stage piano" plays as keys, the rest as seq

In folders, files ending in .mid, .midi, .smf, .kar or .rmi are taken, hidden ones aren't. A file that can't be
rewritten never stops the others; the summary names it, and the exit code is 1.

A run may be stopped at any time. With --resume the next one passes over what an earlier run with --resume has done, as
long as recording, result, rules and options are the same (a file .pointsman-resume beside the results remembers them),
and over results that are the same to the byte. In place, a recording is done if it is what its latest backup would
become.

{CAUTION}"""

_CHECK_ABOUT = """\
Reads the rule files, says everything that is wrong with them at once, with file and line, and runs the tests that they
carry. Do it before the show, and whenever you changed a rule. It needs no instrument and changes nothing."""

_CHECK_MORE = f"""\
examples:
  pointsman check pit.toml
  pointsman check rules/                 all rule files of a folder, together

exit codes: 0 all is well; 1 a test failed; 2 a rule file can't be used

{CAUTION}"""

_TRACE_ABOUT = """\
Follows messages through every rule and step and says where they end up, and why. For "why is the organ silent?". With
--last it explains what has just happened in the running daemon: what came, where it went and why, and which notes are
held, since when and by whom. For the note that got stuck."""

_TRACE_MORE = """\
examples:
  pointsman trace pit.toml --from keys note-on 1 C4 100
  pointsman trace pit.toml --from keys "note-on 1 C4 100" "controller 1 sustain 127"
  pointsman trace pit.toml --from keys 90 3C 64                        the same first message, in hex
  pointsman trace pit.toml --switch song=chorus --from keys note-on 1 C4 100
  pointsman trace --last                                               the last 30 seconds of the running daemon
  pointsman trace --last 5m --json                                     more of it, for programs

Each message is looked at by itself: nothing is held, and the switches stand as they start unless --switch says more.
With --last it is as it was: what was held, how the switches stood and which rules were in force at each moment."""


_LATELY: Final = 30.0  # seconds


def add_commands(commands: Any) -> None:
    """Add the parsers of this group."""
    _add_rewrite(commands)
    _add_check(commands)
    _add_trace(commands)


def _add_rewrite(commands: Any) -> None:
    parser = command(
        commands.add_parser, "rewrite", _REWRITE_ABOUT, _REWRITE_MORE, help="put recordings through the rules"
    )
    parser.set_defaults(call=_rewrite, strays="files")
    add = parser.add_argument
    add("rules", metavar="RULES", type=file_name, help="a rule file, or a folder of them (*.toml, by name)")
    add("files", metavar="FILES", type=file_name, nargs="+", help="MIDI files, and folders of them")
    where = parser.add_mutually_exclusive_group()
    where.add_argument(
        "-o",
        "--out",
        metavar="OUT",
        type=file_name,
        help="where results go: a folder, or a .mid file for one recording",
    )
    where.add_argument(
        "--in-place", action="store_true", help="rewrite the files themselves; take.mid.bak keeps the old one"
    )
    add(
        "--rules",
        dest="more_rules",
        metavar="MORE",
        type=file_name,
        action="append",
        default=[],
        help="further rule files or folders",
    )
    add(
        "--from",
        dest="playing",
        metavar="SOURCE",
        action="append",
        default=[],
        help='the port that the recording plays as; "Track name=SOURCE" or "#2=SOURCE" for one track. '
        "May be left out if the rules listen to one port only",
    )
    add("--per-port", action="store_true", help="write a file for each output port that gets something to play")
    add("--dry-run", action="store_true", help="say what would change, write nothing")
    add("--strict", action="store_true", help="refuse damaged files instead of reading what is readable")
    add("--force", action="store_true", help="replace results that exist already")
    add("--resume", action="store_true", help="take up an earlier run: pass over what is done and unchanged since")
    add("--jobs", metavar="N", type=_jobs, help="how many files at a time (as many as there are cores)")
    add("--json", action="store_true", help="print the summary as JSON")
    add("--quiet", action="store_true", help="print only what went wrong")


def _add_check(commands: Any) -> None:
    parser = command(
        commands.add_parser, "check", _CHECK_ABOUT, _CHECK_MORE, help="find mistakes in rule files, run their tests"
    )
    parser.set_defaults(call=_check)
    parser.add_argument(
        "rules", metavar="RULES", type=file_name, nargs="+", help="rule files, and folders of them (*.toml, by name)"
    )
    parser.add_argument("--json", action="store_true", help="print the findings as JSON")


def _add_trace(commands: Any) -> None:
    usage = (
        "pointsman trace [-h] [--switch NAME=VALUE] [--json] RULES... --from PORT MESSAGE...\n"
        "       pointsman trace [-h] --last [TIME] [--name NAME] [--json]"
    )
    parser = command(
        commands.add_parser, "trace", _TRACE_ABOUT, _TRACE_MORE, help="say where a message goes, and why", usage=usage
    )
    parser.set_defaults(call=_trace)
    add = parser.add_argument
    add("rules", metavar="RULES", type=file_name, nargs="*", help="rule files, and folders of them (*.toml, by name)")
    add(
        "--from",
        dest="arriving",
        metavar=("PORT", "MESSAGE"),
        nargs="+",
        default=[],
        help="the port on which the messages arrive, and the messages: in words (several: each in quotes) or hex",
    )
    add(
        "--switch",
        dest="switches",
        metavar="NAME=VALUE",
        action="append",
        default=[],
        help="how a switch stands: up=on, song=chorus, key=-2",
    )
    add(
        "--last",
        metavar="TIME",
        type=length,
        nargs="?",
        const=_LATELY,
        help="explain what has just happened in the running daemon: 90s, 5m (30s)",
    )
    add_daemon_name(parser)
    add("--json", action="store_true", help="print the findings as JSON")


def _jobs(text: str) -> int:
    if not text.isdigit() or int(text) < 1:
        raise argparse.ArgumentTypeError(f'"{text}" is not a number of files at a time: write 1 or more')
    return int(text)


def _rewrite(arguments: argparse.Namespace) -> int:
    settings = RewriteSettings(
        rules=(arguments.rules, *arguments.more_rules),
        files=tuple(arguments.files),
        out=arguments.out,
        in_place=arguments.in_place,
        playing=tuple(arguments.playing),
        per_port=arguments.per_port,
        dry_run=arguments.dry_run,
        strict=arguments.strict,
        json=arguments.json,
        jobs=arguments.jobs,
        force=arguments.force,
        resume=arguments.resume,
        quiet=arguments.quiet,
    )
    from router.rewrite import rewrite

    return rewrite(settings)


def _check(arguments: argparse.Namespace) -> int:
    from router.check import check

    return check(CheckSettings(tuple(arguments.rules), arguments.json))


def _trace(arguments: argparse.Namespace) -> int:
    if arguments.last is not None:
        if arguments.rules or arguments.arriving or arguments.switches:
            raise UsageError("--last looks at the running daemon, which has its rules: write only trace --last TIME")
        from router.lately import lately

        return lately(LatelySettings(arguments.last, arguments.name, arguments.json))
    if not arguments.rules or not arguments.arriving:
        raise UsageError("write rule files and a message, as in: trace pit.toml --from keys note-on 1 C4 100")
    source, *words = arguments.arriving
    from router.trace import trace

    return trace(TraceSettings(tuple(arguments.rules), source, tuple(words), tuple(arguments.switches), arguments.json))
