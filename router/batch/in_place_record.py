"""What was rewritten in place: a small record next to the recordings, locked while a run lasts.

Rules that are applied twice transpose twice, be it by two runs one after the other or at once. So each folder in which
recordings are rewritten in place gets a record, `.pointsman-in-place`: a line of JSON for each rewriting, with digests
of the recording before and after, and of the rules. The line is written before the recording gets its new content, so
that a killed run is known, too. From it a later run sees that the same rules have been here, and `--undo` which backup
belongs to which recording.

Lines that can't be read are passed over.
"""

from __future__ import annotations

import hashlib
import json
import os
from collections.abc import Iterable, Sequence
from contextlib import suppress
from pathlib import Path
from typing import Final, NamedTuple

from router.files.clock import SYSTEM_CLOCK, Clock, local_time
from router.files.file_lock import lock, unlock
from router.files.regular_files import open_regular
from router.text.formatting import why
from rules.errors import MachineError

RECORD_NAME: Final = ".pointsman-in-place"

_DIGEST_BYTES: Final = 16
_SPARE_FILES: Final = 256  # what a run has open besides records


class Mark(NamedTuple):
    """A run and its rules, as records tell them: `run` sorts by time, `rules` stands for rules and options."""

    run: str
    rules: str


NO_MARK: Final = Mark("", "")
"""That of a run without a record."""


class Entry(NamedTuple):
    """A rewriting of the file `name`: digests of its content before and after, the run and its rules."""

    name: str
    before: str
    after: str
    run: str
    rules: str


def mark_of(texts: Sequence[bytes], options: object, clock: Clock = SYSTEM_CLOCK) -> Mark:
    """Return the mark of a run that begins now; `options` is anything whose `repr` tells it from other options."""
    rules = digest(repr([[digest(text) for text in texts], options]).encode())
    return Mark(f"{clock.wall_s():017.6f}-{os.urandom(4).hex()}", rules)


def time_of(run: str) -> str:
    """Return when a run began, by the local time."""
    return local_time(float(run.partition("-")[0]), "%Y-%m-%d %H:%M:%S")


def digest(data: bytes) -> str:
    """Return what stands for the content of a file."""
    return hashlib.blake2b(data, digest_size=_DIGEST_BYTES).hexdigest()


def note_rewriting(path: Path, mark: Mark, before: bytes, after: bytes) -> None:
    """Put down that the file `path`, which is no link, is about to be rewritten. Raises MachineError."""
    record = path.parent / RECORD_NAME
    entry = Entry(path.name, digest(before), digest(after), *mark)
    line = memoryview(f"\n{json.dumps(entry)}\n".encode())
    try:
        handle = open_regular(record, os.O_WRONLY | os.O_CREAT | os.O_APPEND, follow_links=False)
        try:
            while line:
                line = line[os.write(handle, line) :]
        finally:
            os.close(handle)
    except OSError as error:
        raise MachineError(f"{record}, without which --undo can't work, can't be written: {why(error)}") from error


class FolderRecord:
    """The record of one folder, locked unless it is `read_only`. Without `create`, there may be none.

    Raises MachineError if another run has it, or if it can't be read.
    """

    def __init__(self, folder: Path, *, read_only: bool = False, create: bool = True) -> None:
        self._path = folder / RECORD_NAME
        self._entries: dict[str, list[Entry]] = {}
        self._handle: int | None = None
        self._read_only = read_only
        try:
            self._open(os.O_RDONLY if read_only else os.O_RDWR | os.O_APPEND | (os.O_CREAT if create else 0))
            if self._handle is not None:
                self._read(self._handle)
        except OSError as error:
            self.close()
            raise MachineError(
                f"{self._path}, the record of what was rewritten, can't be used: {why(error)}"
            ) from error

    def _open(self, flags: int) -> None:
        """Open and lock the record. One that another run has deleted meanwhile is no record any more: again."""
        while True:
            try:
                self._handle = open_regular(self._path, flags, follow_links=False)
            except FileNotFoundError:
                return
            if self._read_only:
                return
            if not lock(self._handle):
                os.close(self._handle)
                self._handle = None
                raise MachineError(
                    f"{self._path.parent}: another run is rewriting recordings in place here: wait until it has ended"
                )
            if os.fstat(self._handle).st_nlink:
                return
            os.close(self._handle)

    def _read(self, handle: int) -> None:
        with os.fdopen(os.dup(handle), "rb") as file:
            for line in file:
                with suppress(ValueError, TypeError):
                    fields = json.loads(line)
                    if isinstance(fields, list) and all(isinstance(field, str) for field in fields):
                        entry = Entry(*fields)
                        self._entries.setdefault(entry.name, []).append(entry)

    def entries(self, name: str) -> Sequence[Entry]:
        """Return how often the file `name` was rewritten, the first time first."""
        return self._entries.get(name, ())

    def close(self) -> None:
        """Bring the record to the disk and let others have it. One without an entry is deleted."""
        if self._handle is None:
            return
        handle, self._handle = self._handle, None
        with suppress(OSError):
            if not self._read_only:
                os.fsync(handle)
                if os.fstat(handle).st_size == 0:
                    os.unlink(self._path)
        unlock(handle)  # workers have inherited it, and may live a moment longer
        os.close(handle)


class InPlaceRecords:
    """The records of all folders of a run. Raises MachineError if another run is at work in one of them.

    A folder that nobody may write to has none that could be locked; nothing can be rewritten there either.
    """

    def __init__(self, paths: Iterable[str], *, read_only: bool = False, create: bool = True) -> None:
        self._records: dict[str, FolderRecord] = {}
        folders = dict.fromkeys(os.path.dirname(os.path.realpath(path)) for path in paths)
        _let_open(len(folders) + _SPARE_FILES)
        try:
            for folder in folders:
                is_closed = read_only or not os.access(folder, os.W_OK)
                self._records[folder] = FolderRecord(Path(folder), read_only=is_closed, create=create)
        except BaseException:
            self.close()
            raise

    def entries(self, path: str) -> Sequence[Entry]:
        """Return how often a file was rewritten, the first time first."""
        folder, name = os.path.split(os.path.realpath(path))
        return self._records[folder].entries(name)

    def results(self, path: str, rules: str) -> frozenset[str]:
        """Return the digests of what the rules have made of a file so far."""
        return frozenset(entry.after for entry in self.entries(path) if entry.rules == rules)

    def close(self) -> None:
        """Let others have the records."""
        for record in self._records.values():
            record.close()


def _let_open(files: int) -> None:
    """Let this process have so many files open, as far as it may."""
    try:
        import resource
    except ImportError:  # Windows
        return
    soft, hard = resource.getrlimit(resource.RLIMIT_NOFILE)
    if soft != resource.RLIM_INFINITY and soft < files:
        most = files if hard == resource.RLIM_INFINITY else min(files, hard)
        with suppress(OSError, ValueError):
            resource.setrlimit(resource.RLIMIT_NOFILE, (most, hard))
