# PYTHON_ARGCOMPLETE_OK
"""Arguments to calls, and outcomes to exit codes; nothing else.

Start-up counts: what a command needs is imported in the function that calls it, so that `--help` costs nothing.
"""

from __future__ import annotations

import argparse
import os
import sys
from collections.abc import Sequence
from typing import Any

from router.cli.commands import COMMANDS, GroupedCommands, add_commands
from router.cli.parsing import command
from router.daemon.interpreter import collect_seldom, end_without_collecting, want_no_plugins
from router.text.exit_codes import INCOMPLETE, INTERRUPTED, MEANINGS, READER_GONE, UNUSABLE
from router.text.formatting import count, problem_data
from router.text.terminal import OutputError, complain, flush, problem, say, take_any_name
from router.text.usage import UsageError
from rules.errors import MOST_PROBLEMS, PointsmanError, RuleFileError

_ABOUT = """\
Get the right notes to the right instrument. Pointsman sends parts to their
channels and ports, splits and layers keyboards, limits velocities, and lets
pedals switch sounds. You write rules in text files (TOML). Pointsman applies
them live, between the computer's MIDI ports, or to recordings (.mid files)."""

_MORE = f"""\
The daemon is the program behind "pointsman run": it plays until you end it.

exit codes:
{chr(10).join(f"  {code:<4} {meaning}" for code, meaning in MEANINGS.items())}

"pointsman COMMAND --help" explains a command. "pointsman help" lists the pages of the manual."""


def main(argv: Sequence[str] | None = None) -> int:
    """Do what the command line says (`argv`, or that of the process) and return the exit code."""
    take_any_name()
    collect_seldom()
    end_without_collecting()
    want_no_plugins()
    try:
        code = _answer(argv)
        flush()
        return code
    except KeyboardInterrupt:
        return INTERRUPTED
    except BrokenPipeError:
        _give_up_output()
        return READER_GONE
    except OutputError as error:
        _give_up_output()
        complain([problem(f"pointsman: {error}")])
        return INCOMPLETE


def _answer(argv: Sequence[str] | None) -> int:
    try:
        arguments = _parsed(argv)
    except SystemExit as stop:  # argparse has said what there is to say
        return int(stop.code or 0)
    try:
        return int(arguments.call(arguments))
    except OutputError:
        raise
    except PointsmanError as error:
        _explain(error, arguments)
        return UNUSABLE


def _parsed(argv: Sequence[str] | None) -> argparse.Namespace:
    words = sys.argv[1:] if argv is None else argv
    is_completing = "_ARGCOMPLETE" in os.environ
    if is_completing:  # the shell tells what has been typed so far
        words = os.environ.get("COMP_LINE", "").split()[1:]
    wanted = next((word for word in words if not word.startswith("-")), "")
    shows_all = is_completing or wanted not in COMMANDS or words[0] != wanted
    parser = _parser(wanted, shows_all)
    if is_completing:
        import argcomplete

        argcomplete.autocomplete(parser)
    arguments, rest = parser.parse_known_args(argv)
    strays = getattr(arguments, "strays", None)
    if strays is not None and all(word and not word.startswith("-") for word in rest):
        getattr(arguments, strays).extend(rest)  # they stand after an option, where argparse doesn't look for them
    elif rest:
        parser.error(f"not understood: {' '.join(rest)}")
    return arguments


def _explain(error: PointsmanError, arguments: argparse.Namespace) -> None:
    """Print what can't be used: as data where data was asked for, in words otherwise."""
    found = error.problems if isinstance(error, RuleFileError) else ()
    if arguments.json:
        import json

        problems = [problem_data(one) for one in found[:MOST_PROBLEMS]]
        data = {"command": arguments.command, "ok": False, "error": str(error), "problems": problems}
        if isinstance(error, RuleFileError):
            data["problem_count"] = error.amount
        say([json.dumps(data, indent=2)])
        return
    if isinstance(error, RuleFileError):
        complain(map(problem, error.lines()))
        complain([f"{count(error.amount, 'problem')} in the rule files. Nothing was done."])
        return
    complain([problem(f"pointsman {arguments.command}: {error}")])
    if isinstance(error, UsageError):
        complain([f'"pointsman {arguments.command} --help" shows how to write it.'])


def _give_up_output() -> None:
    """Let what is still to be flushed at the end go nowhere: the output can't be written, or nobody reads it."""
    os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())


class _Version(argparse.Action):
    """Looks the version up only when it is asked for, and which wheel runs: the pure or the compiled one."""

    def __init__(self, option_strings: Sequence[str], dest: str) -> None:
        super().__init__(option_strings, dest, nargs=0, help="print the version and exit")

    def __call__(self, parser: argparse.ArgumentParser, *_: Any) -> None:
        from importlib.util import find_spec

        from router.text.version import NOT_INSTALLED, version

        known = version()
        name = "pointsman, not installed as a package" if known == NOT_INSTALLED else f"pointsman {known}"
        engine = find_spec("rules.engine.engine")
        is_pure = engine is None or (engine.origin or "").endswith(".py")
        say([f"{name} ({'pure Python' if is_pure else 'compiled'})"])
        parser.exit()


def _parser(wanted: str, shows_all: bool) -> argparse.ArgumentParser:
    """The parser for the command that is wanted; of the others it knows at most that they are there."""
    parser = command(argparse.ArgumentParser, "pointsman", _ABOUT, _MORE, formatter_class=GroupedCommands)
    parser.add_argument("--version", action=_Version)
    commands = parser.add_subparsers(
        title="commands", metavar="COMMAND", dest="command", required=True, prog=parser.prog
    )
    add_commands(commands, wanted, others=shows_all)
    return parser
