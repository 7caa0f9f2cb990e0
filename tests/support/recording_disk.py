"""A disk that does what it is asked, and writes it down."""

from __future__ import annotations

import os
from pathlib import Path

from router.files.disk import Disk


class RecordingDisk(Disk):
    """`calls` are the calls that give a file its bytes or a name, in order, with the name of file or folder."""

    def __init__(self) -> None:
        self.calls: list[tuple[str, ...]] = []

    def flush(self, handle: int) -> None:
        """Flush a file."""
        self.calls.append(("flush",))
        super().flush(handle)

    def link(self, source: Path, target: Path) -> None:
        """Give a file a further name."""
        super().link(source, target)
        self.calls.append(("name", target.name))

    def replace(self, source: Path, target: Path) -> None:
        """Give a file another name."""
        super().replace(source, target)
        self.calls.append(("name", target.name))

    def settle_at_once(self, folder: Path) -> None:
        """Flush a folder; what is in it by then is written down, too, but for hidden files."""
        super().settle_at_once(folder)
        names = sorted(name for name in os.listdir(folder) if not name.startswith("."))
        self.calls.append(("settle", folder.name, *names))
