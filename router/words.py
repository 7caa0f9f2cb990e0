"""How the program speaks: numbers, plurals, what the machine answered, and text that can't upset a terminal."""

from __future__ import annotations

import errno
import re
from collections.abc import Sequence
from typing import Any, Final

from rules.errors import Problem

_CONTROL: Final = re.compile(r"[\x00-\x1f\x7f-\x9f\u2028\u2029]")

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


def seconds(duration: float) -> str:
    """Return a duration to a hundredth of a second."""
    return f"{duration:.2f} s"


def plain(text: str) -> str:
    """Return `text` on one line, with control characters shown as codes: names in files can hold anything."""
    return _CONTROL.sub(lambda match: f"\\x{ord(match[0]):02x}", text)


def listing(lines: Sequence[str], most: int) -> list[str]:
    """Return the first `most` lines, and how many more there are."""
    if len(lines) <= most + 1:
        return list(lines)
    return [*lines[:most], f"... and {number(len(lines) - most)} more (--json lists all)"]


def columns(rows: Sequence[Sequence[str]], right: frozenset[int] = frozenset()) -> list[str]:
    """Return `rows` with their cells padded to columns two spaces apart; columns in `right` end flush."""
    widths = [max(map(len, cells)) for cells in zip(*rows, strict=True)]

    def padded(row: Sequence[str]) -> str:
        cells = (
            cell.rjust(width) if at in right else cell.ljust(width)
            for at, (cell, width) in enumerate(zip(row, widths, strict=True))
        )
        return "  ".join(cells).rstrip()

    return [padded(row) for row in rows]


def problem_data(problem: Problem) -> dict[str, Any]:
    """Return what is wrong in a rule file for programs."""
    return {"file": problem.file, "line": problem.line, "place": problem.place, "text": problem.text}
