# PYTHON_ARGCOMPLETE_OK
"""Arguments to calls, and outcomes to exit codes; nothing else.

Start-up counts: what a command needs is imported in the function that calls it, so that `--help` costs nothing.
"""

from __future__ import annotations

import argparse
import json
import os
import sys
from collections.abc import Sequence
from typing import Any, Final

from router.settings import CheckSettings, RewriteSettings, TraceSettings, UsageError
from router.terminal import complain, problem, say, take_any_name
from router.words import count, problem_data
from rules.errors import PointsmanError, RuleFileError

FINE: Final = 0
SOME_FAILED: Final = 1
UNUSABLE: Final = 2
INTERRUPTED: Final = 130  # 128 + SIGINT, as shells count
READER_GONE: Final = 141  # 128 + SIGPIPE

_ABOUT = """\
Gets the right notes to the right instrument: sends parts to their channels and ports, splits and layers keyboards,
tames velocities, switches with pedals. What shall happen stands in rule files (TOML). This version puts recordings
(.mid files) through them."""

_EXIT_CODES = """\
exit codes:
  0    all is well
  1    some files were not rewritten, or a test of the rule files failed
  2    a rule file or the command line can't be used; nothing was done
  130  stopped with Ctrl-C; files written so far are whole, the others are as they were

"pointsman COMMAND --help" tells more about a command."""

_CAUTION = """\
New rules can change levels suddenly. Turn the volume down before you play the result for the first time."""

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
  pointsman rewrite pit.toml take.mid -o out/ --per-port      a file for each output port: out/take.rack1.mid ...
  pointsman rewrite pit.toml take.mid -o out/ --from seq --from "Stage piano=keys"
                                                              the track "Stage piano" plays as keys, the rest as seq

In folders, files ending in .mid, .midi, .smf, .kar or .rmi are taken, hidden ones aren't. A file that can't be
rewritten never stops the others; the summary names it, and the exit code is 1.

{_CAUTION}"""

_CHECK_ABOUT = """\
Reads the rule files, says everything that is wrong with them at once, with file and line, and runs the tests that they
carry. Do it before the show, and whenever you changed a rule. It needs no instrument and changes nothing."""

_CHECK_MORE = f"""\
examples:
  pointsman check pit.toml
  pointsman check rules/                 all rule files of a folder, together

exit codes: 0 all is well; 1 a test failed; 2 a rule file can't be used

{_CAUTION}"""

_TRACE_ABOUT = """\
Follows messages through every rule and step and says where they end up, and why. For "why is the organ silent?"."""

_TRACE_MORE = """\
examples:
  pointsman trace pit.toml --from keys note-on 1 C4 100
  pointsman trace pit.toml --from keys "note-on 1 C4 100" "controller 1 sustain 127"
  pointsman trace pit.toml --from keys 90 3C 64                        the same first message, in hex
  pointsman trace pit.toml --switch song=chorus --from keys note-on 1 C4 100

Each message is looked at by itself: nothing is held, and the switches stand as they start unless --switch says more."""


def main(argv: Sequence[str] | None = None) -> int:
    """Do what the command line says (`argv`, or that of the process) and return the exit code."""
    take_any_name()
    try:
        code = _answer(argv)
        sys.stdout.flush()
        return code
    except KeyboardInterrupt:
        return INTERRUPTED
    except BrokenPipeError:
        _leave_reader_alone()
        return READER_GONE


def _answer(argv: Sequence[str] | None) -> int:
    try:
        arguments = _parsed(argv)
    except SystemExit as stop:  # argparse has said what there is to say
        return int(stop.code or 0)
    try:
        return int(arguments.call(arguments))
    except PointsmanError as error:
        _explain(error, arguments)
        return UNUSABLE


def _parsed(argv: Sequence[str] | None) -> argparse.Namespace:
    parser = _parser()
    if "_ARGCOMPLETE" in os.environ:
        import argcomplete

        argcomplete.autocomplete(parser)
    arguments, rest = parser.parse_known_args(argv)
    if arguments.command == "rewrite" and all(word and not word.startswith("-") for word in rest):
        arguments.files += rest  # files that stand after an option, where argparse doesn't look for them
    elif rest:
        parser.error(f"not understood: {' '.join(rest)}")
    return arguments


def _explain(error: PointsmanError, arguments: argparse.Namespace) -> None:
    """Print what can't be used: as data where data was asked for, in words otherwise."""
    found = error.problems if isinstance(error, RuleFileError) else ()
    if arguments.json:
        problems = [problem_data(one) for one in found]
        data = {"command": arguments.command, "ok": False, "error": str(error), "problems": problems}
        say([json.dumps(data, indent=2)])
        return
    if found:
        complain(problem(str(one)) for one in found)
        complain([f"{count(len(found), 'problem')} in the rule files; nothing was done."])
        return
    complain([problem(f"pointsman {arguments.command}: {error}")])
    if isinstance(error, UsageError):
        complain([f'"pointsman {arguments.command} --help" shows how to write it.'])


def _leave_reader_alone() -> None:
    """Whoever read our output has gone: what is still to be flushed at the end goes nowhere."""
    os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())


class _Version(argparse.Action):
    """Looks the version up only when it is asked for."""

    def __init__(self, option_strings: Sequence[str], dest: str) -> None:
        super().__init__(option_strings, dest, nargs=0, help="print the version and exit")

    def __call__(self, parser: argparse.ArgumentParser, *_: Any) -> None:
        from importlib.metadata import PackageNotFoundError, version

        try:
            print(f"pointsman {version('pointsman')}")
        except PackageNotFoundError:
            print("pointsman, not installed as a package")
        parser.exit()


def _parser() -> argparse.ArgumentParser:
    parser = _command(argparse.ArgumentParser, "pointsman", _ABOUT, _EXIT_CODES)
    parser.add_argument("--version", action=_Version)
    commands = parser.add_subparsers(title="commands", metavar="COMMAND", dest="command", required=True)
    _add_rewrite(commands)
    _add_check(commands)
    _add_trace(commands)
    return parser


def _command(make: Any, name: str, about: str, more: str, **keywords: Any) -> argparse.ArgumentParser:
    """A parser whose texts stay as they are written here."""
    form = argparse.RawDescriptionHelpFormatter
    parser: argparse.ArgumentParser = make(
        name, description=about, epilog=more, formatter_class=form, allow_abbrev=False, **keywords
    )
    return parser


def _add_rewrite(commands: Any) -> None:
    parser = _command(
        commands.add_parser, "rewrite", _REWRITE_ABOUT, _REWRITE_MORE, help="put recordings through the rules"
    )
    parser.set_defaults(call=_rewrite)
    add = parser.add_argument
    add("rules", metavar="RULES", type=_name, help="a rule file, or a folder of them (*.toml, by name)")
    add("files", metavar="FILES", type=_name, nargs="+", help="MIDI files, and folders of them")
    where = parser.add_mutually_exclusive_group()
    where.add_argument(
        "-o", "--out", metavar="OUT", type=_name, help="where results go: a folder, or a .mid file for one recording"
    )
    where.add_argument(
        "--in-place", action="store_true", help="rewrite the files themselves; take.mid.bak keeps the old one"
    )
    add(
        "--rules",
        dest="more_rules",
        metavar="MORE",
        type=_name,
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
    add("--jobs", metavar="N", type=_jobs, help="how many files at a time (as many as there are cores)")
    add("--json", action="store_true", help="print the summary as JSON")
    add("--quiet", action="store_true", help="print only what went wrong")


def _add_check(commands: Any) -> None:
    parser = _command(
        commands.add_parser, "check", _CHECK_ABOUT, _CHECK_MORE, help="find mistakes in rule files, run their tests"
    )
    parser.set_defaults(call=_check)
    parser.add_argument(
        "rules", metavar="RULES", type=_name, nargs="+", help="rule files, and folders of them (*.toml, by name)"
    )
    parser.add_argument("--json", action="store_true", help="print the findings as JSON")


def _add_trace(commands: Any) -> None:
    usage = "pointsman trace [-h] [--switch NAME=VALUE] [--json] RULES... --from PORT MESSAGE..."
    parser = _command(
        commands.add_parser, "trace", _TRACE_ABOUT, _TRACE_MORE, help="say where a message goes, and why", usage=usage
    )
    parser.set_defaults(call=_trace)
    add = parser.add_argument
    add("rules", metavar="RULES", type=_name, nargs="+", help="rule files, and folders of them (*.toml, by name)")
    add(
        "--from",
        dest="arriving",
        metavar=("PORT", "MESSAGE"),
        nargs="+",
        required=True,
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
    add("--json", action="store_true", help="print the findings as JSON")


def _name(text: str) -> str:
    """A file or folder. An unset variable of the shell gives an empty name, which would mean the current folder."""
    if not text:
        raise argparse.ArgumentTypeError("an empty name; is a variable of your shell unset?")
    return text


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
        quiet=arguments.quiet,
    )
    from router.rewrite import rewrite

    return rewrite(settings)


def _check(arguments: argparse.Namespace) -> int:
    from router.check import check

    return check(CheckSettings(tuple(arguments.rules), arguments.json))


def _trace(arguments: argparse.Namespace) -> int:
    source, *words = arguments.arriving
    from router.trace import trace

    return trace(TraceSettings(tuple(arguments.rules), source, tuple(words), tuple(arguments.switches), arguments.json))
