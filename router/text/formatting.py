"""How the program speaks: numbers, plurals, what the machine answered, and text that can't upset a terminal."""

from __future__ import annotations

import errno
from collections.abc import Callable, Iterable, Iterator, Sequence
from typing import Any, Final

from rules.errors import Problem

_SHOWN_AS_CODES: Final = {code: f"\\x{code:02x}" for code in (*range(0x20), *range(0x7F, 0xA0), 0x2028, 0x2029)}

_GAP: Final = "..."
_LEAST_NAME: Final = 12

_REASONS: Final = {
    errno.ENOENT: "there is no such file or folder",
    errno.EACCES: "you have no permission",
    errno.EPERM: "it isn't permitted",
    errno.EROFS: "the disk is read-only",
    errno.ENOSPC: "no space is left on the disk",
    errno.EDQUOT: "your share of the disk is used up",
    errno.EFBIG: "the file would be larger than this disk or system allows",
    errno.EISDIR: "it is a folder",
    errno.ENOTDIR: "a part of the path is a file, not a folder",
    errno.ENAMETOOLONG: "the name is too long for this disk",
    errno.ELOOP: "the links lead in a circle",
    errno.EIO: "the disk failed to answer",
    errno.ENOTCONN: "the disk is no longer connected",
    errno.ENODEV: "the disk is no longer connected",
}


def why(error: OSError) -> str:
    """Return why the machine refused, in plain words."""
    known = _REASONS.get(error.errno or 0)
    return known or (error.strerror or str(error) or type(error).__name__).lower()


def number(count: int) -> str:
    """Return a whole number with its thousands set apart: `12,034`."""
    return f"{count:,}"


def count(amount: int, one: str, many: str = "") -> str:
    """Return `1 file`, `3 files`; `many` is needed where the plural is more than an s."""
    return f"{number(amount)} {one if amount == 1 else many or one + 's'}"


def plain(text: str) -> str:
    """Return `text` on one line, with control characters shown as codes: names in files can hold anything."""
    return text.translate(_SHOWN_AS_CODES)


def fitted(text: str, width: int) -> str:
    """Return `text` in at most `width` characters (at least 5): a longer one loses its middle, `Pit K...MIDI 1`."""
    if len(text) <= width:
        return text
    kept = width - len(_GAP)
    return text[: kept - kept // 2] + _GAP + text[len(text) - kept // 2 :]


class Listing:
    """Lines of which the first `most` are shown, and how many more there are; no more are kept."""

    __slots__ = ("_amount", "_first", "_most")

    def __init__(self, most: int) -> None:
        self._first: list[str] = []
        self._amount = 0
        self._most = most

    def add(self, line: str) -> None:
        """Put a line behind the others."""
        self._amount += 1
        if len(self._first) <= self._most:
            self._first.append(line)

    def lines(self) -> list[str]:
        """Return what is shown; a single line more is shown in place of its number."""
        if self._amount <= self._most + 1:
            return list(self._first)
        return [*self._first[: self._most], f"... and {number(self._amount - self._most)} more (--json lists all)"]


def columns(rows: Sequence[Sequence[str]], right: frozenset[int] = frozenset()) -> list[str]:
    """Return `rows` with their cells padded to columns two spaces apart; columns in `right` end flush."""
    return list(streamed_columns(lambda: rows, right))


def fitted_columns(
    rows: Sequence[Sequence[str]], names: Sequence[int], width: int, right: frozenset[int] = frozenset()
) -> list[str]:
    """Return `rows` as `columns` does, within `width` characters if shortening the columns `names` is enough.

    The first of them is shortened first; none gets below 12 characters. What is cut is the middle of a name.
    """
    widths = [max(map(len, cells)) for cells in zip(*rows, strict=True)]
    excess = sum(widths) + 2 * (len(widths) - 1) - width
    for at in names:
        least = min(widths[at], _LEAST_NAME)
        new = max(least, widths[at] - max(0, excess))
        excess -= widths[at] - new
        widths[at] = new
    return columns([[fitted(cell, widths[at]) for at, cell in enumerate(row)] for row in rows], right)


def streamed_columns(rows: Callable[[], Iterable[Sequence[str]]], right: frozenset[int] = frozenset()) -> Iterator[str]:
    """Return `rows` as `columns` does, for many rows, which are made twice: first for their widths."""
    widths: list[int] = []
    for row in rows():
        widths = [max(len(cell), width) for cell, width in zip(row, widths or [0] * len(row), strict=True)]

    def padded(row: Sequence[str]) -> str:
        cells = (
            cell.rjust(width) if at in right else cell.ljust(width)
            for at, (cell, width) in enumerate(zip(row, widths, strict=True))
        )
        return "  ".join(cells).rstrip()

    return map(padded, rows())


def problem_data(problem: Problem) -> dict[str, Any]:
    """Return what is wrong in a rule file for programs."""
    return {"file": problem.file, "line": problem.line, "place": problem.place, "text": problem.text}
