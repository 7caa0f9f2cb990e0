"""What a journal says went out, to be compared with what its replay sends."""

from __future__ import annotations

from collections.abc import Iterable

from rules.journal.format import OUT, Record


def went_out(records: Iterable[Record]) -> list[tuple[int, bytes, int]]:
    """The OUT records of a journal as (port number, message, due time in ns), in order."""
    return [(number, data, time) for kind, time, number, data in records if kind == OUT]
