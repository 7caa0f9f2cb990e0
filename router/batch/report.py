"""What a rewrite did: in words for a musician, as data for a program.

The data (`--json`) is one object:

    {"command": "rewrite", "ok": true, "dry_run": false, "not_reached": 0,
     "linked_folders": [], "files": [{"file": "takes/a.mid",
                "outcome": "written" | "unchanged" | "looked at" | "done before" | "refused" | "failed",
                "targets": ["out/a.mid"], "leftovers": [], "backup": null, "reason": null, "offset": null,
                "seconds": 0.01,
                "report": null | {"messages": 10, "changed": 2, "dropped": 0, "added": 0, "unended": 0,
                                  "route": "patch" | "stream" | "general",
                                  "matched": {"keyboard": 10},
                                  "drops": [{"channel": 2, "reason": "no rule", "messages": 1}],
                                  "damage": [{"offset": 22, "text": "..."}], "remarks": ["..."]}}],
     "total": {"files": 1, "written": 1, "unchanged": 0, "looked at": 0, "done before": 0, "refused": 0, "failed": 0,
               "messages": 10, "changed": 2, "dropped": 0, "added": 0, "unended": 0, "seconds": 0.02},
     "rules": [{"name": "keyboard", "matched": 10}], "drops": [{"channel": 2, "reason": "no rule", "messages": 1}]}

Files are in the order of the command line, rules in file order. `offset` is a byte of the file, counted from 0.
`leftovers` are files of earlier days that lie where results of ports would that get nothing to play now.
`drops` are the messages that were dropped, by channel and reason, note-offs too. The channel of those that have none
(sysex) is null; it is "several" where which one isn't known. Reasons are those of `rules/program/loss_reasons.py`.
`linked_folders` are links to folders that were not followed. `not_reached` counts the files that an interruption left
as they were; they aren't listed. Files done before count
among the files, not among the messages. `ok` is true if every file went as asked. If nothing could be done at all,
there are only `command`, `ok`, `error` and `problems` (of rule files).
"""

from __future__ import annotations

import json
from collections.abc import Collection, Iterable, Iterator, Sequence
from dataclasses import asdict, dataclass
from functools import cached_property
from pathlib import Path
from textwrap import indent
from typing import TYPE_CHECKING, Any, Final

from router.batch.job import FileOutcome, FileResult
from router.batch.totals import COUNTS, Totals
from router.text.durations import to_a_hundredth
from router.text.formatting import Listing, columns, count, number, plain, streamed_columns
from rules.program.loss_reasons import NO_RULE, SEVERAL, Drops, in_order

if TYPE_CHECKING:
    from rules.smf.report import FileReport

_MOST_LINKS: Final = 10
_NO_FILES: Final = '"files": []'


@dataclass(frozen=True)
class Summary:
    """A whole run: a result for every file, in order; the names of the rules, in order; `seconds` from start to end.

    `not_reached` is how many files an interruption left as they were, `linked_folders` are links that were not
    followed. There may be more results than fit into memory: they are gone through, and never kept.
    """

    results: Collection[FileResult]
    rules: Sequence[str]
    seconds: float
    dry_run: bool = False
    not_reached: int = 0
    linked_folders: Sequence[Path] = ()

    @cached_property
    def totals(self) -> Totals:
        """All results added up."""
        totals = Totals()
        for result in self.results:
            totals.add(result)
        return totals

    @property
    def ok(self) -> bool:
        """Whether every file went as asked."""
        return not self.not_reached and self.totals.ok

    def matched(self) -> dict[str, int]:
        """Return how many messages each rule matched."""
        return {rule: self.totals.matched[rule] for rule in self.rules}

    def drops(self) -> Drops:
        """Return how many messages were dropped, by channel and reason, in order."""
        return in_order(self.totals.drops)


def as_json(summary: Summary) -> Iterator[str]:
    """Yield the lines of the data as the module says."""
    totals = summary.totals
    data = {
        "command": "rewrite",
        "ok": summary.ok,
        "dry_run": summary.dry_run,
        "not_reached": summary.not_reached,
        "linked_folders": list(map(str, summary.linked_folders)),
        "files": [],
        "total": {
            "files": totals.files,
            **{outcome.value: totals.outcomes[outcome] for outcome in FileOutcome},
            **{what: totals.counts[what] for what in COUNTS},
            "seconds": round(summary.seconds, 6),
        },
        "rules": [{"name": rule, "matched": matched} for rule, matched in summary.matched().items()],
        "drops": _drops_data(summary.drops()),
    }
    text = json.dumps(data, indent=2)
    if not totals.files:
        yield text
        return
    before, _, after = text.partition(_NO_FILES)
    yield f'{before}"files": ['
    for at, result in enumerate(summary.results, 1):
        yield indent(json.dumps(_file_data(result), indent=2), "    ") + ("," if at < totals.files else "")
    yield f"  ]{after}"


def _file_data(result: FileResult) -> dict[str, Any]:
    report = result.report
    return {
        "file": result.source,
        "outcome": result.outcome.value,
        "targets": list(result.targets),
        "leftovers": list(result.leftovers),
        "backup": result.backup or None,
        "reason": result.reason or None,
        "offset": result.offset,
        "seconds": round(result.seconds, 6),
        "report": None if report is None else _report_data(report),
    }


def _report_data(report: FileReport) -> dict[str, Any]:
    return {
        **{what: getattr(report, what) for what in COUNTS},
        "route": report.route,
        "matched": dict(report.matched),
        "drops": _drops_data(report.drops),
        "damage": [asdict(damage) for damage in report.damage],
        "remarks": list(report.remarks),
    }


def _drops_data(drops: Drops) -> list[dict[str, int | str | None]]:
    return [
        {"channel": "several" if channel == SEVERAL else channel, "reason": reason, "messages": messages}
        for (channel, reason), messages in drops.items()
    ]


def in_words(summary: Summary) -> Iterator[str]:
    """Yield the lines of the summary; what went wrong is left to `problems`."""
    yield _headline(summary)
    yield from _section("", _would(summary) if summary.dry_run else _written(summary.totals))
    yield from _section("Files from earlier runs:", summary.totals.leftovers.lines())
    yield from _section("Links to folders, not followed (--follow-links enters them):", _links(summary))
    if summary.totals.reported:
        yield from _section("", _figures(summary.totals))
        yield from _section("Matched by each rule:", _rule_lines(summary))
        yield from _section("Would be dropped:" if summary.dry_run else "Dropped:", _drop_lines(summary.drops()))
        yield from _section(
            "Damaged, but readable. Everything that could be read was kept:", summary.totals.damage.lines()
        )
        yield from _section("Please note:", summary.totals.remarks())


def _links(summary: Summary) -> list[str]:
    shown = Listing(_MOST_LINKS)
    for link in summary.linked_folders:
        shown.add(str(link))
    return shown.lines()


def problems(summary: Summary) -> Iterator[str]:
    """Yield a line for each file that was not rewritten: its name, the byte at fault if there is one, the reason."""
    if summary.totals.ok:
        return
    for result in summary.results:
        if not result.is_good:
            where = result.source if result.offset is None else f"{result.source}, byte {result.offset}"
            yield f"{where}: {result.outcome.value}: {result.reason}"


def _section(title: str, lines: Iterable[str]) -> Iterator[str]:
    is_first = True
    for line in lines:
        if is_first:
            yield ""
            if title:
                yield title
            is_first = False
        yield f"  {plain(line)}"


_PARTS: Final = (
    (FileOutcome.WRITTEN, "rewritten"),
    (FileOutcome.LOOKED_AT, "looked at, nothing written"),
    (FileOutcome.DONE, "done before, and unchanged since"),
    (FileOutcome.UNCHANGED, "unchanged by the rules"),
    (FileOutcome.REFUSED, "refused"),
    (FileOutcome.FAILED, "failed"),
)


def _headline(summary: Summary) -> str:
    outcomes = summary.totals.outcomes
    parts = [f"{count(files, 'file')} {words}" for outcome, words in _PARTS if (files := outcomes[outcome])]
    if summary.not_reached:
        parts.append(f"{count(summary.not_reached, 'file')} not reached before you stopped")
    return f"{', '.join(parts) or 'no file to rewrite'}; {to_a_hundredth(summary.seconds)}"


def _written(totals: Totals) -> list[str]:
    backups, targets = totals.backups, totals.targets
    old, new = list(backups.first), list(targets.first)
    if not backups.are_few:
        old = [f"{count(backups.amount, 'file')} rewritten; the old ones are next to them, ending in .bak"]
    if not targets.are_few:
        new = [f"{count(targets.amount, 'file')} written into {totals.folder}"]
    return [*old, *new, *totals.silent.lines()]


def _would(summary: Summary) -> Iterator[str]:
    """A line for each file of a dry run."""
    if summary.totals.reported:
        yield from streamed_columns(lambda: _rows_of_dry_run(summary), right=frozenset({1, 2, 3, 4}))


def _rows_of_dry_run(summary: Summary) -> Iterator[tuple[str, ...]]:
    yield ("file", "messages", "changed", "dropped", "added", "would be written")
    for result in summary.results:
        if result.report is None:
            continue
        if result.outcome is FileOutcome.LOOKED_AT:
            counts = (number(getattr(result.report, what)) for what in COUNTS[:4])
            yield (plain(result.source), *counts, ", ".join(result.targets) or "-")
        elif result.outcome is FileOutcome.UNCHANGED:
            messages = number(result.report.messages)
            yield (plain(result.source), messages, "0", "0", "0", "nothing, it stays as it is")


def _figures(totals: Totals) -> list[str]:
    counts = totals.counts
    rows = [
        ("messages in", number(counts["messages"]), ""),
        ("changed", number(counts["changed"]), ""),
        ("dropped", number(counts["dropped"]), ""),
        ("added", number(counts["added"]), ""),
        ("notes that never end", number(counts["unended"]), _unended_in(totals)),
    ]
    return columns(rows, right=frozenset({1}))


def _unended_in(totals: Totals) -> str:
    names = totals.unended_in
    more = f" and {count(names.amount - 3, 'more file')}" if names.amount > 3 else ""
    return f"in {', '.join(names.first[:3])}{more}" if names.amount else ""


def _rule_lines(summary: Summary) -> list[str]:
    rows = [
        (rule, number(matched), "" if matched else "nothing: check its `from`, `match` and `when`, and --from")
        for rule, matched in summary.matched().items()
    ]
    return columns(rows, right=frozenset({1})) if rows else []


def _drop_lines(drops: Drops) -> list[str]:
    """Return what was dropped by channel and reason, and how to keep what no rule matches."""
    if not drops:
        return []
    rows = [(_channel(channel), reason, number(messages)) for (channel, reason), messages in drops.items()]
    lines = columns(rows, right=frozenset({2}))
    if any(reason == NO_RULE for _, reason in drops):
        lines.append("A rule with `otherwise = true` keeps what no other rule matches.")
    return lines


def _channel(channel: int | None) -> str:
    if channel is None:
        return "no channel"
    return "several channels" if channel == SEVERAL else f"channel {channel}"
