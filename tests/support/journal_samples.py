"""Journals for tests: records of a short performance, a disk that refuses, and waiting for a thread."""

from __future__ import annotations

import errno
import threading
import time
from collections.abc import Callable
from pathlib import Path

from router.recording.journal_files import JournalDisk
from rules.journal.format import HEAD, IN, NAMES, OUT, Names, Record, names_data, pack

ON, OFF = bytes((0x90, 60, 100)), bytes((0x80, 60, 64))
MS = 1_000_000
NAMED: Record = (NAMES, 0, 0, names_data(Names(("keys",), ("rack",))))
PLAYED: tuple[Record, ...] = (NAMED, (IN, 0, 0, ON), (OUT, 0, 0, ON), (IN, 500 * MS, 0, OFF), (OUT, 500 * MS, 0, OFF))


def packed(*records: Record) -> bytes:
    """Records as a journal holds them."""
    return b"".join(map(pack, records))


def orphan(path: Path, *records: Record, torn: bytes = b"") -> Path:
    """A journal as a killed process leaves it."""
    path.write_bytes(HEAD + packed(*records) + torn)
    return path


class Refusing(JournalDisk):
    """A disk that is full while `full` is set; a write before that takes only a part."""

    def __init__(self) -> None:
        self.full = threading.Event()
        self.refused = threading.Event()

    def append(self, handle: int, data: bytes) -> int:
        """Take seven bytes at most, or nothing."""
        if self.full.is_set():
            self.refused.set()
            raise OSError(errno.ENOSPC, "full")
        return super().append(handle, data[:7])


def wait_for(what: Callable[[], bool]) -> None:
    """Wait until a thread has done its work; it is a mistake if that never happens."""
    for _ in range(2000):
        if what():
            return
        time.sleep(0.005)
    raise AssertionError("it never happened")
