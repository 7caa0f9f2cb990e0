"""What a rewrite did: in words for a musician, as data for a program.

The data (`--json`) is one object:

    {"command": "rewrite", "ok": true, "dry_run": false, "not_reached": 0,
     "files": [{"file": "takes/a.mid", "outcome": "written" | "unchanged" | "looked at" | "refused" | "failed",
                "targets": ["out/a.mid"], "backup": null, "reason": null, "offset": null, "seconds": 0.01,
                "report": null | {"messages": 10, "changed": 2, "dropped": 0, "added": 0, "unended": 0,
                                  "route": "patch" | "stream" | "general",
                                  "taken": {"keyboard": 10}, "left": [{"channel": 2, "messages": 1}],
                                  "damage": [{"offset": 22, "text": "..."}], "remarks": ["..."]}}],
     "total": {"files": 1, "written": 1, "unchanged": 0, "looked at": 0, "refused": 0, "failed": 0,
               "messages": 10, "changed": 2, "dropped": 0, "added": 0, "unended": 0, "seconds": 0.02},
     "rules": [{"name": "keyboard", "taken": 10}], "left": [{"channel": 2, "messages": 1}]}

Files are in the order of the command line, rules in file order. `offset` is a byte of the file, counted from 0.
`left` are the messages that no rule took; the channel of those that have none (sysex) is null.
`not_reached` counts the files that an interruption left as they were; they aren't listed. `ok` is true if every file
went as asked. If nothing could be done at all, there are only `command`, `ok`, `error` and `problems` (of rule files).
"""

from __future__ import annotations

import os
from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import asdict, dataclass
from typing import TYPE_CHECKING, Any, Final

from router.job import FileResult, Outcome
from router.words import columns, count, listing, number, plain, seconds

if TYPE_CHECKING:
    from rules.smf.rewriting import FileReport

_MOST_LINES: Final = 20
_MOST_NAMES: Final = 6
_COUNTS: Final = ("messages", "changed", "dropped", "added", "unended")


@dataclass(frozen=True, slots=True)
class Summary:
    """A whole run: a result for every file, in order; the names of the rules, in order; `seconds` from start to end.

    `not_reached` is how many files an interruption left as they were.
    """

    results: Sequence[FileResult]
    rules: Sequence[str]
    seconds: float
    dry_run: bool = False
    not_reached: int = 0

    @property
    def ok(self) -> bool:
        """Whether every file went as asked."""
        return not self.not_reached and all(result.is_good for result in self.results)

    @property
    def reports(self) -> list[FileReport]:
        """What is known of the files that could be rewritten."""
        return [result.report for result in self.results if result.report is not None and result.is_good]

    def with_outcome(self, outcome: Outcome) -> int:
        """Return how many files went so."""
        return sum(result.outcome is outcome for result in self.results)

    def total(self, what: str) -> int:
        """Return the sum of one count (messages, changed, dropped, added, unended) over the files."""
        return sum(getattr(report, what) for report in self.reports)

    def taken(self) -> dict[str, int]:
        """Return how many messages each rule took."""
        return {rule: sum(report.taken.get(rule, 0) for report in self.reports) for rule in self.rules}

    def left(self) -> dict[int | None, int]:
        """Return how many messages no rule took, by channel 1-16 in order; last, under None, those without one."""
        found = Counter[int | None]()
        for report in self.reports:
            found.update(report.left)
        return {channel: found[channel] for channel in (*range(1, 17), None) if found[channel]}


def as_data(summary: Summary) -> dict[str, Any]:
    """Return the summary as the module says."""
    outcomes = {outcome.value: summary.with_outcome(outcome) for outcome in Outcome}
    counts = {what: summary.total(what) for what in _COUNTS}
    return {
        "command": "rewrite",
        "ok": summary.ok,
        "dry_run": summary.dry_run,
        "not_reached": summary.not_reached,
        "files": [_file_data(result) for result in summary.results],
        "total": {"files": len(summary.results), **outcomes, **counts, "seconds": round(summary.seconds, 6)},
        "rules": [{"name": rule, "taken": taken} for rule, taken in summary.taken().items()],
        "left": _left_data(summary.left()),
    }


def _file_data(result: FileResult) -> dict[str, Any]:
    report = result.report
    return {
        "file": result.source,
        "outcome": result.outcome.value,
        "targets": list(result.targets),
        "backup": result.backup or None,
        "reason": result.reason or None,
        "offset": result.offset,
        "seconds": round(result.seconds, 6),
        "report": None if report is None else _report_data(report),
    }


def _report_data(report: FileReport) -> dict[str, Any]:
    return {
        **{what: getattr(report, what) for what in _COUNTS},
        "route": report.route,
        "taken": dict(report.taken),
        "left": _left_data(report.left),
        "damage": [asdict(damage) for damage in report.damage],
        "remarks": list(report.remarks),
    }


def _left_data(left: Mapping[int | None, int]) -> list[dict[str, int | None]]:
    return [{"channel": channel, "messages": messages} for channel, messages in left.items()]


def in_words(summary: Summary) -> list[str]:
    """Return the lines of the summary; what went wrong is left to `problems`."""
    lines = [_headline(summary)]
    lines += _section("", _written(summary))
    if summary.reports:
        lines += _section("", _figures(summary))
        lines += _section("What each rule took:", _rule_lines(summary))
        lines += _section("", _left_lines(summary))
        lines += _section("Damaged, but readable; everything that could be read was kept:", _damage_lines(summary))
        lines += _section("Please note:", _remarks(summary))
    return lines


def problems(summary: Summary) -> list[str]:
    """Return a line for each file that was not rewritten: its name, the byte at fault if there is one, the reason."""
    lines = []
    for result in summary.results:
        if not result.is_good:
            where = result.source if result.offset is None else f"{result.source}, byte {result.offset}"
            lines.append(f"{where}: {result.outcome.value}: {result.reason}")
    return lines


def _section(title: str, lines: Sequence[str]) -> list[str]:
    if not lines:
        return []
    return ["", *([title] if title else []), *(f"  {plain(line)}" for line in lines)]


_PARTS: Final = (
    (Outcome.WRITTEN, "rewritten"),
    (Outcome.LOOKED_AT, "looked at, nothing written"),
    (Outcome.UNCHANGED, "left alone, as the rules change nothing in it"),
    (Outcome.REFUSED, "refused"),
    (Outcome.FAILED, "failed"),
)


def _headline(summary: Summary) -> str:
    parts = [f"{count(files, 'file')} {words}" for outcome, words in _PARTS if (files := summary.with_outcome(outcome))]
    if summary.not_reached:
        parts.append(f"{count(summary.not_reached, 'file')} not reached before you stopped")
    return f"{', '.join(parts) or 'no file to rewrite'}; {seconds(summary.seconds)}"


def _written(summary: Summary) -> list[str]:
    if summary.dry_run:
        return _would(summary)
    written = [result for result in summary.results if result.outcome is Outcome.WRITTEN]
    backups = [f"{result.source} rewritten, the old file is {result.backup}" for result in written if result.backup]
    if len(backups) > _MOST_NAMES:
        backups = [f"{count(len(backups), 'file')} rewritten, the old ones lie beside them, ending in .bak"]
    targets = [target for result in written if not result.backup for target in result.targets]
    new = [f"{target} written" for target in targets]
    if len(targets) > _MOST_NAMES:
        new = [f"{count(len(targets), 'file')} written into {os.path.commonpath(targets)}"]
    silent = [
        f"{result.source}: no port gets anything to play, so no file was written"
        for result in written
        if not result.targets
    ]
    return [*backups, *new, *listing(silent, _MOST_LINES)]


def _would(summary: Summary) -> list[str]:
    """A line for each file of a dry run."""
    rows = [("file", "messages", "changed", "dropped", "added", "would be written")]
    for result in summary.results:
        if result.outcome is Outcome.LOOKED_AT and (report := result.report) is not None:
            counts = (number(getattr(report, what)) for what in _COUNTS[:4])
            rows.append((plain(result.source), *counts, ", ".join(result.targets) or "-"))  # type: ignore[arg-type]
        elif result.outcome is Outcome.UNCHANGED and result.report is not None:
            rows.append(
                (plain(result.source), number(result.report.messages), "0", "0", "0", "nothing, it stays as it is")
            )
    return columns(rows, right=frozenset({1, 2, 3, 4})) if len(rows) > 1 else []


def _figures(summary: Summary) -> list[str]:
    rows = [
        ("messages in", number(summary.total("messages")), ""),
        ("changed", number(summary.total("changed")), ""),
        ("dropped", number(summary.total("dropped")), ""),
        ("added", number(summary.total("added")), ""),
        ("notes that never end", number(summary.total("unended")), _unended_in(summary)),
    ]
    return columns(rows, right=frozenset({1}))


def _unended_in(summary: Summary) -> str:
    names = [result.source for result in summary.results if result.is_good and result.report and result.report.unended]
    more = f" and {count(len(names) - 3, 'more file')}" if len(names) > 3 else ""
    return f"in {', '.join(names[:3])}{more}" if names else ""


def _rule_lines(summary: Summary) -> list[str]:
    rows = [
        (rule, number(taken), "" if taken else "nothing came by: look at its `from`, `match` and `when`, and at --from")
        for rule, taken in summary.taken().items()
    ]
    return columns(rows, right=frozenset({1})) if rows else []


def _left_lines(summary: Summary) -> list[str]:
    """What was left out because no rule is for it, and what would keep it."""
    left = summary.left()
    if not left:
        return []
    channels = [str(channel) for channel in left if channel is not None]
    where = [f"{'channel' if len(channels) == 1 else 'channels'} {', '.join(channels)}"] if channels else []
    where += ["without a channel"] if None in left else []
    fit = count(sum(left.values()), "message fits", "messages fit")
    verb = "would be" if summary.dry_run else "was" if sum(left.values()) == 1 else "were"
    return [
        f"{fit} no rule and {verb} left out ({' and '.join(where)}).",
        "A rule with `otherwise = true` keeps what no other rule takes.",
    ]


def _damage_lines(summary: Summary) -> list[str]:
    lines = [
        f"{result.source}, {damage}"
        for result in summary.results
        if result.is_good and result.report is not None
        for damage in result.report.damage
    ]
    return listing(lines, _MOST_LINES)


def _remarks(summary: Summary) -> list[str]:
    """Each remark once, with the number of files where several share it."""
    files: dict[str, int] = {}
    for report in summary.reports:
        for remark in dict.fromkeys(report.remarks):
            files[remark] = files.get(remark, 0) + 1
    shared = [f"{remark} (in {count(many, 'file')})" if many > 1 else remark for remark, many in files.items()]
    return listing(shared, _MOST_LINES)
