"""A disk that refuses what it is asked, and what is left in a folder."""

from __future__ import annotations

import os
from pathlib import Path

from router.files.disk import Disk


class FailingDisk(Disk):
    """A disk that refuses one sort of call with `code`, from the time that it was asked `patience` times."""

    def __init__(self, call: str, code: int, patience: int = 0) -> None:
        self.call, self.code, self.patience = call, code, patience

    def _asked(self, call: str) -> None:
        if call == self.call:
            self.patience -= 1
            if self.patience < 0:
                raise OSError(self.code, os.strerror(self.code))

    def make_folder(self, folder: Path) -> None:
        """Make a folder, or refuse."""
        self._asked("make_folder")
        super().make_folder(folder)

    def create(self, path: Path, mode: int = 0o600) -> int:
        """Open a new file, or refuse."""
        self._asked("create")
        return super().create(path, mode)

    def write(self, handle: int, data: bytes) -> None:
        """Write, or give up half-way."""
        if self.call == "write":
            os.write(handle, data[: len(data) // 2])
        self._asked("write")
        super().write(handle, data)

    def flush(self, handle: int) -> None:
        """Flush, or refuse."""
        self._asked("flush")
        super().flush(handle)

    def link(self, source: Path, target: Path) -> None:
        """Make a link, or refuse."""
        self._asked("link")
        super().link(source, target)

    def replace(self, source: Path, target: Path) -> None:
        """Rename, or refuse."""
        self._asked("replace")
        super().replace(source, target)


def tree(folder: Path) -> dict[str, bytes]:
    """Every file below `folder`, hidden ones too, and what is in it."""
    return {str(path.relative_to(folder)): path.read_bytes() for path in folder.rglob("*") if path.is_file()}
