"""The command `plan`: a channel for every device, as a rule file and as a sheet for the wall.

The data (`--json`) is one object; `channel` is null for a device that listens on all channels:

    {"command": "plan", "ok": true, "sources": ["seq"], "out": "pit.toml", "sheet": null,
     "devices": [{"device": "organ", "port": "rack1", "channel": 4, "set": false, "sends": {"seq": 4}}],
     "unseparated": [{"device": "bell", "port": "rack1", "reason": "...", "changes": ["connect it to ..."]}]}
"""

from __future__ import annotations

import argparse
import json
from collections.abc import Iterator
from pathlib import Path
from textwrap import wrap
from typing import TYPE_CHECKING, Any, Final, NamedTuple

from router.cli.parsing import CAUTION, file_name
from router.text.exit_codes import FINE, INCOMPLETE
from router.text.formatting import count, plain
from router.text.paragraphs import WIDTH
from router.text.terminal import say
from router.text.usage import UsageError

if TYPE_CHECKING:
    from rules.rig.channel_plan import ChannelPlan
    from rules.rulefile.reading import Reading

ABOUT: Final = """\
Give every device a channel of its own, so that you can play each alone. You need it when several devices insist on
one channel, or when a new one joins the rig. Rule files say which devices there are, and on which channels they can be.
The plan lets as many devices as possible keep their channel; drums stay on 10."""

MORE: Final = f"""\
examples:
  pointsman plan rig.toml                                  show which channel plays which device
  pointsman plan rig.toml -o gig.toml                      write rules that play it so
  pointsman plan rig.toml -o gig.toml --sheet sheet.svg    and a sheet for the wall, one A4 page
  pointsman plan rig.toml --from seq                       plan only for what seq plays

In the rule files, `channel` is fixed. `channels = "1..16"` at a device means that you can set it. A device with neither
listens on all channels. `channels` at an input port says what it can send. Rules, switches and tests of the files don't
matter for the plan.

exit codes: 0 every device can be played alone; 1 some can't; 2 a rule file can't be used

{CAUTION}"""


class PlanSettings(NamedTuple):
    """What `plan` shall do: `sources` are the inputs to plan for, all if there are none."""

    rules: tuple[str, ...]
    sources: tuple[str, ...] = ()
    out: str | None = None
    sheet: str | None = None
    force: bool = False
    json: bool = False


def add_options(parser: argparse.ArgumentParser) -> None:
    """Add the options of the command."""
    parser.set_defaults(call=_call)
    add = parser.add_argument
    add("rules", metavar="RULES", type=file_name, nargs="+", help="rule files that say what is in the rig")
    add(
        "--from",
        dest="sources",
        metavar="PORT",
        action="append",
        default=[],
        help="an input port that you play (default: all inputs; two-way ports of devices only with `channels`)",
    )
    add("-o", "--out", metavar="FILE", type=file_name, help="write the plan as a rule file (default: only show it)")
    add("--sheet", metavar="FILE", type=file_name, help="write the channel sheet, as .svg or .txt (default: none)")
    add("--force", action="store_true", help="replace files that exist (default: refuse)")
    add("--json", action="store_true", help="print the plan as JSON (default: text)")


def _call(arguments: argparse.Namespace) -> int:
    return plan(
        PlanSettings(
            tuple(arguments.rules),
            tuple(arguments.sources),
            arguments.out,
            arguments.sheet,
            arguments.force,
            arguments.json,
        )
    )


def plan(settings: PlanSettings) -> int:
    """Print the plan and write its files; return the exit code. Raises UsageError, RuleFileError or MachineError."""
    from router.cli.sheet_files import check_sheet_name
    from router.cli.sheet_words import sheet_lines
    from router.cli.source_arguments import known_source
    from router.files.file_names import is_rule_name
    from router.files.rule_files import read_rule_files
    from rules.rig.channel_plan import plan_channels
    from rules.rig.planned_rig import planned_rig
    from rules.rulefile.reading import read_rule_set

    if settings.out is not None and not is_rule_name(settings.out):
        raise UsageError(f"-o {plain(settings.out)}: the plan is a rule file: end the name in .toml")
    check_sheet_name(settings.sheet)
    reading = read_rule_set(read_rule_files(settings.rules))
    rig = planned_rig(reading.ruleset, [known_source(name, reading.ruleset) for name in settings.sources])
    if not rig.devices:
        raise UsageError("there is no device to plan for: write your instruments under [devices]")
    if not rig.sources:
        raise UsageError("there is no input to play from: write one under [ports], or name it with --from")
    planned = plan_channels(rig)
    lines = [*sheet_lines(planned), *_trouble(planned)]
    written = _write(settings, reading, planned, lines)
    if settings.json:
        say([json.dumps(_data(settings, planned), indent=2)])
    else:
        say([*lines, *written])
    return INCOMPLETE if planned.unseparated else FINE


def _write(settings: PlanSettings, reading: Reading, planned: ChannelPlan, lines: list[str]) -> list[str]:
    """Write what is asked for, all or nothing; return the lines that say so."""
    from router.files.atomic_writing import write_new
    from router.files.spared_inputs import spare_inputs

    files: dict[Path, bytes] = {}
    said = []
    if settings.out is not None:
        files[Path(settings.out).absolute()] = _rule_file(settings, reading, planned)
        rules = sum(any(source in one.by_source for one in planned.channels) for source in planned.rig.sources)
        ways = f"{count(rules, 'rule')} for {count(len(planned.channels), 'device')}"
        said.append(f"{plain(settings.out)} written: {ways}")
    if settings.sheet is not None:
        files[Path(settings.sheet).absolute()] = _sheet_file(settings.sheet, planned, lines)
        said.append(f"{plain(settings.sheet)} written: the channel sheet")
    if files:
        spare_inputs(files, reading.files)
        write_new(files, replace=settings.force)
    return ["", *said] if said else []


def _rule_file(settings: PlanSettings, reading: Reading, planned: ChannelPlan) -> bytes:
    import tomli_w

    from rules.findings.findings import findings_of
    from rules.rig.planned_rules import accept_remarks, planned_tables
    from rules.rulefile.reading import read_rule_set

    head = [f"# A plan of channels, made by `pointsman plan` from {', '.join(map(plain, settings.rules))}."]
    for one in planned.unseparated:
        head += wrap(
            plain(f"Left out: {one.device.name}: {one.reason}."), 118, initial_indent="# ", subsequent_indent="#   "
        )
    tables = planned_tables(reading, planned)
    accept_remarks(tables, findings_of(read_rule_set([(settings.rules[0], tomli_w.dumps(tables).encode())])))
    return ("\n".join(head) + "\n\n" + tomli_w.dumps(tables)).encode()


def _sheet_file(name: str, planned: ChannelPlan, lines: list[str]) -> bytes:
    from router.cli.sheet_files import sheet_content

    def picture() -> str:
        from rules.drawing.sheet_picture import sheet_picture
        from rules.rig.channel_sheet import channel_sheet

        return sheet_picture(channel_sheet(planned))

    return sheet_content(name, lines, picture)


def _trouble(planned: ChannelPlan) -> Iterator[str]:
    """Yield what can't be played alone, and what would help."""
    if planned.unseparated:
        yield ""
        amount = len(planned.unseparated)
        yield f"{count(amount, 'device')} {'is' if amount == 1 else 'are'} left out:"
    alike: dict[tuple[str, tuple[str, ...]], list[str]] = {}
    for one in planned.unseparated:
        alike.setdefault((one.reason, one.changes), []).append(one.device.name)
    for (reason, changes), names in alike.items():
        yield from wrap(plain(f"{', '.join(names)}: {reason}."), WIDTH, initial_indent="  ", subsequent_indent="    ")
        each = " for each" if len(names) > 1 else ""
        advice = f"One change is enough{each}: {', or '.join(changes)}." if changes else "No single change is enough."
        yield from wrap(plain(advice), WIDTH, initial_indent="    ", subsequent_indent="    ")


def _data(settings: PlanSettings, planned: ChannelPlan) -> dict[str, Any]:
    return {
        "command": "plan",
        "ok": not planned.unseparated,
        "sources": list(planned.rig.sources),
        "out": settings.out,
        "sheet": settings.sheet,
        "devices": [
            {
                "device": one.device.name,
                "port": one.device.port,
                "channel": one.channel,
                "set": one.is_chosen,
                "sends": dict(one.by_source),
            }
            for one in planned.channels
        ],
        "unseparated": [
            {
                "device": one.device.name,
                "port": one.device.port,
                "reason": one.reason,
                "changes": list(one.changes),
            }
            for one in planned.unseparated
        ],
    }
