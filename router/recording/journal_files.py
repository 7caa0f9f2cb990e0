"""Journals on the disk: written while music plays, safe from a crash.

A journal is only ever appended to, and brought to the disk twice a second: a killed process loses less than a second.
It lies beside the .mid file that will come of it, `take.mid.journal`, and is deleted once that is safely there. A
journal that is being written is locked, so that nobody takes it for one that was left behind.
"""

from __future__ import annotations

import errno
import os
import threading
from collections import deque
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Final

from router.files.disk import Disk
from router.files.file_lock import lock
from router.files.file_names import is_midi_name
from router.text.formatting import count, why
from rules.errors import MachineError
from rules.journal.format import HEAD

SUFFIX: Final = ".journal"

_MOST_WAITING_BYTES: Final = 24 * 1024 * 1024  # bytes that may wait for a disk that doesn't answer
_RETRY_AFTER_S: Final = 1.0  # seconds until a disk that refused is asked again
_PATIENCE_S: Final = 5.0  # seconds that the end of a recording waits for the disk
_NEW_FILE: Final = os.O_RDWR | os.O_CREAT | os.O_EXCL | os.O_APPEND | getattr(os, "O_BINARY", 0)


class JournalDisk(Disk):
    """The calls by which a journal is written, any of which may fail with OSError."""

    def create(self, path: Path, mode: int = 0o666) -> int:
        """Open a new file for appending, readable as the user wants new files to be; return its handle."""
        return os.open(path, _NEW_FILE, mode)

    def append(self, handle: int, data: bytes) -> int:
        """Write as much of `data` as the disk takes at once; return how many bytes."""
        return os.write(handle, data)


JOURNAL_DISK: Final = JournalDisk()


class JournalFile:
    """The journal for a .mid file of the name `target`, or of the next name that is free.

    It is written by a thread of its own: adding to it never waits for the disk. A disk that refuses is asked
    again each second; what comes meanwhile waits, and what there is no room for is lost, and counted in `lost`
    (records). `say` is told once when the disk begins to refuse, and when it takes again.
    """

    def __init__(self, target: Path, say: Callable[[str], None], disk: JournalDisk = JOURNAL_DISK) -> None:
        self.path = journal_of(target)
        self.lost = 0
        self._target = target
        self._say = say
        self._disk = disk
        self._handle = -1
        self._waiting: deque[tuple[bytes, int]] = deque([(HEAD, 0)])
        self._size = 0
        self._guard = threading.Lock()
        self._ending = threading.Event()
        self._given = threading.Event()
        self._refused = False
        self._then: Callable[[], None] = _nothing
        self._thread = threading.Thread(target=self._work, name="journal", daemon=True)

    def open(self) -> None:
        """Make the file now, not with the first chunk. Raises MachineError."""
        try:
            self._open()
        except OSError as error:
            raise MachineError(f"{self.path}: the recording can't be written here: {why(error)}") from error

    def start(self) -> None:
        """Begin to write what is added."""
        self._thread.start()

    def add(self, packed: bytes, records: int) -> None:
        """Hand over packed records."""
        with self._guard:
            if self._size + len(packed) > _MOST_WAITING_BYTES:
                self.lost += records
                return
            self._waiting.append((packed, records))
            self._size += len(packed)
        self._given.set()

    def end(self, then: Callable[[], None]) -> None:
        """Take no more: when all is written, close the file, and call `then` in the writing thread."""
        self._then = then
        self._ending.set()
        self._given.set()

    def close(self) -> None:
        """Take no more, and wait until all is written. What a failing disk doesn't take in time is lost."""
        self.end(_nothing)
        self._thread.join(timeout=_PATIENCE_S)
        with self._guard:
            self._give_up()

    def _work(self) -> None:
        while not (self._ending.is_set() and not self._waiting):
            self._given.wait()
            self._given.clear()
            while self._waiting and not self._write_one():
                if self._ending.is_set():
                    with self._guard:
                        self._give_up()
                self._ending.wait(_RETRY_AFTER_S)
            if self._waiting:
                self._given.set()
        if self._handle >= 0:
            os.close(self._handle)
        if self.lost:
            self._say(
                f"{self.path}: {count(self.lost, 'message')} could not be recorded, because the disk refused them"
            )
        self._then()

    def _give_up(self) -> None:
        """Give up what still waits: it is lost."""
        self.lost += sum(records for _, records in self._waiting)
        self._waiting.clear()
        self._size = 0

    def _open(self) -> None:
        self._disk.make_folder(self._target.parent)
        for target in numbered(self._target):
            self.path = journal_of(target)
            if os.path.lexists(target):
                continue
            try:
                self._handle = self._disk.create(self.path)
            except FileExistsError:
                continue
            lock(self._handle)
            return
        raise FileExistsError(errno.EEXIST, "there are too many files with this name: move some away")

    def _write_one(self) -> bool:
        """Bring the oldest chunk to the disk, as far as it takes it; whether it took all."""
        data, records = self._waiting[0]
        rest = data
        try:
            if self._handle < 0:
                self._open()
            while rest:
                rest = rest[self._disk.append(self._handle, rest) :]
            self._disk.flush(self._handle)
        except OSError as error:
            self._complain(error)
            self._settle(data, rest, records, done=False)
            return False
        self._settle(data, rest, records, done=True)
        if self._refused:
            self._refused = False
            self._say(f"{self.path}: the recording goes on: the disk can be written again")
        return True

    def _settle(self, data: bytes, rest: bytes, records: int, done: bool) -> None:
        """Take what is written from what waits."""
        with self._guard:
            if not self._waiting:
                return
            self._size -= len(data) - len(rest)
            if done:
                self._waiting.popleft()
            else:
                self._waiting[0] = (rest, records)

    def _complain(self, error: OSError) -> None:
        if not self._refused:
            self._refused = True
            self._say(
                f"{self.path}: the recording can't be written: {why(error)}. The music goes on, and so does the "
                "recording as soon as the disk lets it"
            )


def _nothing() -> None:
    """Do nothing."""


def journal_of(target: Path) -> Path:
    """Return where the journal for a .mid file lies."""
    return target.with_name(target.name + SUFFIX)


def target_of(journal: Path) -> Path:
    """The .mid file that is meant to come of a journal."""
    target = journal.with_name(journal.name.removesuffix(SUFFIX))
    return target if is_midi_name(target.name) else target.with_name(target.name + ".mid")


def numbered(path: Path) -> Iterator[Path]:
    """Yield the names that a file may get, best first: `take.mid`, `take-2.mid`, and so on."""
    yield path
    for number in range(2, 10_000):
        yield path.with_name(f"{path.stem}-{number}{path.suffix}")
