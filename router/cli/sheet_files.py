"""Sheets for the wall that commands write: as a picture or as text, by the ending of their name."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from pathlib import Path

from router.text.formatting import plain
from router.text.usage import UsageError


def check_sheet_name(sheet: str | None) -> None:
    """Raise UsageError for the name of a sheet that ends in neither .svg nor .txt."""
    if sheet is not None and Path(sheet).suffix not in (".svg", ".txt"):
        raise UsageError(f"--sheet {plain(sheet)}: end the name in .svg or .txt")


def sheet_content(sheet: str, lines: Sequence[str], picture: Callable[[], str]) -> bytes:
    """Return what goes into a sheet of this name: its lines as text, or the picture."""
    text = "\n".join(lines) + "\n" if Path(sheet).suffix == ".txt" else picture()
    return text.encode()
