"""The disk: the calls that it may refuse."""

from __future__ import annotations

import os
from contextlib import suppress
from pathlib import Path
from typing import Final

_NEW_FILE: Final = os.O_WRONLY | os.O_CREAT | os.O_EXCL | getattr(os, "O_BINARY", 0)


class Disk:
    """The calls that a full, read-only or failing disk answers with OSError. Tests give a disk that fails on demand."""

    def make_folder(self, folder: Path) -> None:
        """Make `folder` and those above it; one that is there is fine."""
        folder.mkdir(parents=True, exist_ok=True)

    def create(self, path: Path, mode: int = 0o600) -> int:
        """Open a new file for writing, with the permissions `mode` less the umask; return its handle."""
        return os.open(path, _NEW_FILE, mode)

    def write(self, handle: int, data: bytes) -> None:
        """Write all of `data`."""
        rest = memoryview(data)
        while rest:
            rest = rest[os.write(handle, rest) :]

    def flush(self, handle: int) -> None:
        """Wait until what was written is on the disk."""
        os.fsync(handle)

    def link(self, source: Path, target: Path) -> None:
        """Give the file `source` the further name `target`. Raises FileExistsError if there is one."""
        os.link(source, target)

    def replace(self, source: Path, target: Path) -> None:
        """Give `source` the name `target` instead of its own, in place of a file that had it."""
        os.replace(source, target)

    def settle(self, folder: Path) -> None:
        """Bring the new names in `folder` to the disk too, where the system can; the files are safe in any case."""
        self.settle_at_once(folder)

    def settle_at_once(self, folder: Path) -> None:
        """Do the same, also where the names of many files are settled later."""
        with suppress(OSError):
            handle = os.open(folder, os.O_RDONLY)
            try:
                os.fsync(handle)
            finally:
                os.close(handle)


class SettledLater(Disk):
    """For many files: their folders are settled once, by the one who has them all written."""

    def settle(self, folder: Path) -> None:
        """Leave it for later."""


DISK: Final = Disk()
SETTLED_LATER: Final = SettledLater()
