"""Old rules on their way out, while music plays.

Dropping the last reference to a table frees thousands of objects in one go, and no other thread gets a turn
meanwhile. Notes that were struck under old rules refer to their tables until they end, so that would fall to the loop
in the midst of music. Therefore old tables are kept here until nobody else refers to them, and then let go of a row at
a time.
"""

from __future__ import annotations

import sys
from collections.abc import Callable
from typing import Final

from router.daemon.prepared_rules import Prepared
from rules.program.tables import Table
from rules.rulefile.rule_tables import Rule

_OURS_ALONE: Final = 2  # references to a table: from the variable that looks at it, and from the counting


class ReplacedRules:
    """Rules that were replaced. All calls come from one thread, and not from the one that plays."""

    def __init__(self) -> None:
        self._tables: list[Table] = []
        self._rules: list[Rule] = []

    def __len__(self) -> int:
        return len(self._tables)

    def add(self, prepared: Prepared) -> None:
        """Take over rules that have been replaced, or are about to be."""
        pipeline = prepared.pipeline
        tables = [*pipeline.tables, *(branch.table for branch in pipeline.branches)]
        tables += (node.after for node in pipeline.nodes.values() if node.after is not None)
        tables += (table for table in pipeline.arrivals if table is not None)
        self._tables += dict.fromkeys(tables)
        self._rules += prepared.ruleset.rules

    def part(self, rest: Callable[[], object] = lambda: None) -> None:
        """Let go of the tables that nobody else refers to any more; `rest` is called after each small piece of that."""
        while self._rules:
            self._rules.pop()
            rest()
        before = -1
        while before != len(self._tables):  # a table that goes may have been the last to lead to another
            before = len(self._tables)
            self._part_once(rest)

    def _part_once(self, rest: Callable[[], object]) -> None:
        kept: list[Table] = []
        while self._tables:
            table = self._tables.pop()
            if sys.getrefcount(table) > _OURS_ALONE:
                kept.append(table)
                continue
            rows = list(table.rows)
            del table
            while rows:
                rows.pop()
                rest()
        self._tables = kept
