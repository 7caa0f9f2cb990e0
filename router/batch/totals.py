"""The results of many files, added up one by one; what is listed by name has an end, however many files there are."""

from __future__ import annotations

import os
from collections import Counter
from collections.abc import Sequence
from typing import TYPE_CHECKING, Final

from router.batch.job import FileOutcome, FileResult
from router.text.formatting import Listing, count

if TYPE_CHECKING:
    from rules.smf.report import FileReport

COUNTS: Final = ("messages", "changed", "dropped", "added", "unended")

_MOST_LINES: Final = 20
_MOST_NAMES: Final = 6
_MOST_REMARKS: Final = 1_000


class FirstNames:
    """The first few names of many: `first` has one more than are shown, `amount` is how many there are."""

    __slots__ = ("amount", "first")

    def __init__(self) -> None:
        self.first: list[str] = []
        self.amount = 0

    def add(self, name: str) -> None:
        """Count one more."""
        self.amount += 1
        if self.amount <= _MOST_NAMES:
            self.first.append(name)

    @property
    def are_few(self) -> bool:
        """Whether `first` holds all."""
        return self.amount == len(self.first)


class Totals:
    """What came of the files added so far.

    `outcomes` counts them by how it went, `reported` those with a report; `counts` adds up the COUNTS of those that
    went well, `matched` the messages by rule, `drops` those dropped by channel and reason.
    """

    def __init__(self) -> None:
        self.outcomes: Counter[FileOutcome] = Counter()
        self.reported = 0
        self.counts: Counter[str] = Counter()
        self.matched: Counter[str] = Counter()
        self.drops: Counter[tuple[int | None, str]] = Counter()
        self.backups = FirstNames()
        self.targets = FirstNames()
        self.unended_in = FirstNames()
        self.silent = Listing(_MOST_LINES)
        self.leftovers = Listing(_MOST_LINES)
        self.damage = Listing(_MOST_LINES)
        self._remarks: dict[str, int] = {}
        self._common = ""

    @property
    def files(self) -> int:
        """How many files there were."""
        return self.outcomes.total()

    @property
    def ok(self) -> bool:
        """Whether every file went as asked."""
        return not self.outcomes[FileOutcome.REFUSED] and not self.outcomes[FileOutcome.FAILED]

    @property
    def folder(self) -> str:
        """The deepest folder that holds all new files; "." where they have nothing but names."""
        return self._common or os.curdir

    def add(self, result: FileResult) -> None:
        """Add the result of one file; those named first are listed first."""
        self.outcomes[result.outcome] += 1
        if result.outcome is FileOutcome.WRITTEN:
            self._add_written(result)
        for path in result.leftovers:
            self.leftovers.add(f"{path} isn't a result of this run: its port gets nothing to play")
        if result.report is not None and result.is_good:
            self._add_report(result.source, result.report)

    def _add_written(self, result: FileResult) -> None:
        if result.backup:
            self.backups.add(f"{result.source} rewritten, the old file is {result.backup}")
            return
        if not result.targets:
            self.silent.add(f"{result.source}: no port gets anything to play, so no file was written")
        for target in result.targets:
            self._common = os.path.commonpath([self._common, target]) if self.targets.amount else target
            self.targets.add(f"{target} written")

    def _add_report(self, source: str, report: FileReport) -> None:
        self.reported += 1
        for what in COUNTS:
            self.counts[what] += getattr(report, what)
        self.matched.update(report.matched)
        self.drops.update(report.drops)
        if report.unended:
            self.unended_in.add(source)
        for damage in report.damage:
            self.damage.add(f"{source}, {damage}")
        for remark in dict.fromkeys(report.remarks):
            if remark in self._remarks or len(self._remarks) < _MOST_REMARKS:
                self._remarks[remark] = self._remarks.get(remark, 0) + 1

    def remarks(self) -> Sequence[str]:
        """Return each remark once, with the number of files where several share it."""
        listing = Listing(_MOST_LINES)
        for remark, files in self._remarks.items():
            listing.add(f"{remark} (in {count(files, 'file')})" if files > 1 else remark)
        return listing.lines()
