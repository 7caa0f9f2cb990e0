"""The command `rewrite`: recordings through the rules."""

from __future__ import annotations

import argparse
import json
from typing import TYPE_CHECKING, Final

from router.cli.parsing import CAUTION, add_more_rules, add_playing, file_name
from router.text.exit_codes import FINE, INCOMPLETE
from router.text.terminal import complain, problem, say
from router.text.usage import UsageError

if TYPE_CHECKING:
    from router.batch.report import Summary
    from router.batch.rewrite_settings import RewriteSettings

ABOUT: Final = """\
Apply rules to recordings, as if you played them live. You need it to repair wrong channels, missing splits or wild
velocities in .mid files. What the rules don't change stays the same, to the byte. What no rule matches is dropped.
The originals stay as they are."""

MORE: Final = f"""\
examples:
  pointsman rewrite pit.toml take.mid -o repaired.mid         one recording
  pointsman rewrite pit.toml takes/ -o repaired/              a folder and all below it; names are kept
  pointsman rewrite pit.toml takes/ --in-place                the files themselves, with a backup of each
  pointsman rewrite --undo takes/                             restore what the last run with --in-place changed
  pointsman rewrite pit.toml takes/ --dry-run                 only show what would change
  pointsman rewrite pit.toml takes/ -o repaired/ --resume     continue a run that was stopped
  pointsman rewrite pit.toml take.mid -o out/ --per-port      a file for each output port: out/take.rack1.mid ...
  pointsman rewrite pit.toml take.mid -o out/ --from seq --from "Stage piano=keys"
                                                              the track "Stage piano" plays as keys, the rest as seq

In folders, files ending in .mid, .midi, .smf, .kar or .rmi are rewritten, except hidden ones. A file that can't be
rewritten never stops the others. The summary names it, and the exit code is 1.

You can stop a run at any time. With --resume the next run skips what is done, if recording, result, rules and options
are the same as then. The file .pointsman-resume next to the results remembers them.

In place, rules aren't applied twice to a recording, unless you add --again. The file .pointsman-in-place in the folder
remembers what was rewritten. --undo restores what the last run changed, except recordings changed since. The same
command once more undoes the run before it.

{CAUTION}"""


def add_options(parser: argparse.ArgumentParser) -> None:
    """Add the options of the command."""
    parser.set_defaults(call=_call, strays="files")
    add = parser.add_argument
    add("rules", metavar="RULES", type=file_name, nargs="?", help="a rule file, or a folder of them")
    add("files", metavar="FILES", type=file_name, nargs="*", help="MIDI files, and folders of them")
    where = parser.add_mutually_exclusive_group()
    where.add_argument(
        "-o",
        "--out",
        metavar="OUT",
        type=file_name,
        help="where results go: a folder, or a .mid file for one recording (required, or --in-place)",
    )
    where.add_argument(
        "--in-place",
        action="store_true",
        help="rewrite the files themselves; take.mid.bak keeps the old one (default: off)",
    )
    where.add_argument(
        "--undo",
        metavar="PLACE",
        type=file_name,
        nargs="+",
        default=[],
        help="restore what the last run with --in-place changed here (default: off)",
    )
    add_more_rules(parser)
    add_playing(parser)
    add("--per-port", action="store_true", help="write a file for each output port that plays (default: one file)")
    add("--dry-run", action="store_true", help="show what would change, write nothing (default: off)")
    add("--strict", action="store_true", help="refuse damaged files (default: read what is readable)")
    add("--force", action="store_true", help="replace results that exist (default: refuse)")
    add("--resume", action="store_true", help="continue an earlier run: skip what is done (default: begin again)")
    add("--again", action="store_true", help="in place, apply the same rules again (default: refuse)")
    add("--follow-links", action="store_true", help="also enter links to folders (default: stay in the folder)")
    add("--jobs", metavar="N", type=_jobs, help="rewrite N files at a time (default: one for each core)")
    add("--json", action="store_true", help="print the summary as JSON (default: text)")
    add("--quiet", action="store_true", help="print only what went wrong (default: a summary)")


def _jobs(text: str) -> int:
    if not text.isdigit() or int(text) < 1:
        raise argparse.ArgumentTypeError(f'"{text}" is not a number of files at a time: write 1 or more')
    return int(text)


def _call(arguments: argparse.Namespace) -> int:
    from router.batch.rewrite_settings import RewriteSettings

    is_undo = bool(arguments.undo)
    if is_undo and (arguments.rules or arguments.more_rules):
        raise UsageError("--undo takes no rules: write pointsman rewrite --undo FOLDER")
    if not is_undo and not arguments.files:
        raise UsageError("name a rule file (RULES), then MIDI files or folders (FILES)")
    settings = RewriteSettings(
        rules=() if is_undo else (arguments.rules, *arguments.more_rules),
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
        follow_links=arguments.follow_links,
        again=arguments.again,
        undo=tuple(arguments.undo),
    )
    return _undo(settings) if is_undo else rewrite(settings)


def _undo(settings: RewriteSettings) -> int:
    """Restore what a run in place changed, and print it; return the exit code. Raises MachineError."""
    from router.batch import undo

    undone = undo.undo(settings.undo, follow_links=settings.follow_links, dry_run=settings.dry_run)
    if settings.json:
        say([json.dumps(undo.as_data(undone), indent=2)])
    else:
        if not settings.quiet:
            say(undo.in_words(undone))
        complain(problem(f"{file}: {reason}") for file, reason in undone.problems)
    return INCOMPLETE if undone.problems else FINE


def rewrite(settings: RewriteSettings) -> int:
    """Rewrite files and print what was done; return the exit code.

    Raises UsageError, RuleFileError or MachineError before anything is written.
    """
    from router.batch.plan import destination
    from router.batch.rewriting import rewritten
    from router.cli.source_arguments import playing_for
    from router.files.rule_files import read_rule_files
    from rules.rulefile.reading import read_rule_set

    to = destination(settings)
    texts = read_rule_files(settings.rules)
    reading = read_rule_set(texts)
    playing = playing_for(settings.playing, reading.ruleset)
    with rewritten(settings, to, texts, reading, playing) as (summary, interrupted):
        _tell(summary, settings)
        if interrupted:
            raise KeyboardInterrupt
        return FINE if summary.ok else INCOMPLETE


def _tell(summary: Summary, settings: RewriteSettings) -> None:
    from router.batch.report import as_json, in_words, problems

    if settings.json:
        say(as_json(summary))
        return
    if not settings.quiet:
        say(in_words(summary))
    complain(map(problem, problems(summary)))
