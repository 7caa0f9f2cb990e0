"""One file from the disk through the rules and back, and what came of it. Nothing that happens here stops a batch."""

from __future__ import annotations

import os
from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace
from enum import Enum
from pathlib import Path
from time import perf_counter
from typing import TYPE_CHECKING, Protocol, TypeVar

from router.files import Job, Unusable
from router.names import backups, for_port
from router.words import why
from router.writing import DISK, Disk, TargetExistsError, exists_already, write_back, write_new
from rules.errors import MachineError, MidiFileError

if TYPE_CHECKING:
    from rules.smf.report import FileReport, Rewritten

T = TypeVar("T")


class Outcome(Enum):
    """How it went with one file."""

    WRITTEN = "written"
    UNCHANGED = "unchanged"  # in place, and the rules change nothing
    LOOKED_AT = "looked at"  # a dry run
    DONE = "done before"  # by an earlier run, and nothing has changed since
    REFUSED = "refused"  # its result has no place to go
    FAILED = "failed"


Stamp = tuple[int, int]
"""Bytes of a file, and when it was written last (ns)."""


def stamp_of(status: os.stat_result) -> Stamp:
    """Return the stamp of a file."""
    return status.st_size, status.st_mtime_ns


@dataclass(frozen=True, slots=True)
class FileResult:
    """What came of one file.

    `targets` are the files written (or that would be), `backup` is the name under which the old file was kept, `reason`
    says why nothing was written, at byte `offset` if a byte is to blame. `seconds` is how long it took. `stamp` is that
    of the file that was read.
    """

    source: str
    outcome: Outcome
    targets: tuple[str, ...] = ()
    backup: str = ""
    reason: str = ""
    offset: int | None = None
    seconds: float = 0.0
    report: FileReport | None = None
    stamp: Stamp | None = None

    @property
    def is_good(self) -> bool:
        """Whether all went as asked."""
        return self.outcome not in (Outcome.REFUSED, Outcome.FAILED)


class Rewrites(Protocol):
    """What turns the bytes of a file into those of its results."""

    def rewrite(self, data: bytes) -> Rewritten:
        """Return the results by port name ("" for a single one). Raises MidiFileError."""
        ...


@dataclass(frozen=True, slots=True)
class Manner:
    """How results are written: `force` replaces what is there, `dry_run` writes nothing.

    With `resume` a result that is there, the same byte for byte, is done before; and so is a recording in place whose
    latest backup would become what the recording is now.
    """

    force: bool = False
    dry_run: bool = False
    resume: bool = False


def unusable(item: Unusable) -> FileResult:
    """Return the result of a file that can't be begun with."""
    return FileResult(str(item.path), Outcome.REFUSED if item.refused else Outcome.FAILED, reason=item.reason)


@dataclass(frozen=True, slots=True)
class _Unwritten:
    """What is to be written where, and what is to be told when it is."""

    job: Job
    files: Mapping[Path, bytes]
    like: os.stat_result
    replace: bool
    disk: Disk
    told: FileResult

    def write(self) -> FileResult:
        """Write it."""
        if self.job.in_place:
            (data,) = self.files.values()
            return replace(self.told, backup=str(write_back(self.job.source, data, disk=self.disk)))
        write_new(self.files, like=self.like, replace=self.replace, disk=self.disk)
        return self.told


@dataclass(frozen=True, slots=True)
class Begun:
    """A file that was read and rewritten. `size` is how many bytes it holds until `finish`, `seconds` what it took."""

    name: str
    size: int
    seconds: float
    step: _Unwritten | FileResult

    def finish(self) -> FileResult:
        """Write what is to be written. This may happen in another thread, while the next file is begun."""
        began = perf_counter()
        step = self.step
        result = step if isinstance(step, FileResult) else _guarded(self.name, step.write)
        return replace(result, seconds=self.seconds + perf_counter() - began)


def begin(job: Job, rewriter: Rewrites, manner: Manner, disk: Disk = DISK) -> Begun:
    """Read and rewrite one file. Whatever goes wrong is told in the result, and leaves the disk as it was."""
    began = perf_counter()
    name = str(job.source)
    step = _guarded(name, lambda: _rewritten(job, rewriter, manner, disk))
    size = 0 if isinstance(step, FileResult) else sum(map(len, step.files.values()))
    return Begun(name, size, perf_counter() - began, step)


def do(job: Job, rewriter: Rewrites, manner: Manner, disk: Disk = DISK) -> FileResult:
    """Rewrite one file from beginning to end."""
    return begin(job, rewriter, manner, disk).finish()


def _guarded(name: str, step: Callable[[], T]) -> T | FileResult:
    """What a step gives, or what went wrong in it."""
    try:
        return step()
    except MidiFileError as error:
        return FileResult(name, Outcome.FAILED, reason=error.text, offset=error.offset)
    except TargetExistsError as error:
        return FileResult(name, Outcome.REFUSED, reason=str(error))
    except MachineError as error:
        return FileResult(name, Outcome.FAILED, reason=str(error))
    except MemoryError:
        return FileResult(name, Outcome.FAILED, reason="this machine has not enough memory for it; try --jobs 1")
    except Exception as error:
        return FileResult(name, Outcome.FAILED, reason=our_fault(error))


def _rewritten(job: Job, rewriter: Rewrites, manner: Manner, disk: Disk) -> _Unwritten | FileResult:
    try:
        like = job.source.stat()
        data = job.source.read_bytes()
    except OSError as error:
        raise MachineError(f"the file can't be read: {why(error)}") from error
    name, stamp = str(job.source), stamp_of(like)
    may_be_done = manner.resume or job.again
    if may_be_done and job.in_place and _was_rewritten(job.source, data, rewriter):
        return FileResult(name, Outcome.DONE)
    rewritten = rewriter.rewrite(data)
    report = rewritten.report
    if job.in_place and rewritten.outputs == {"": data}:
        return FileResult(name, Outcome.UNCHANGED, report=report)
    files = {} if job.target is None else {for_port(job.target, port): out for port, out in rewritten.outputs.items()}
    targets = tuple(map(str, files))
    may_replace = manner.force or job.replace
    written = FileResult(name, Outcome.WRITTEN, targets, report=report, stamp=None if job.in_place else stamp)
    if may_be_done and not job.in_place and _are_there(files):
        return written if job.again else FileResult(name, Outcome.DONE, stamp=stamp)
    if manner.dry_run:
        if not (may_replace or job.in_place):
            _require_free(files)
        return FileResult(name, Outcome.LOOKED_AT, targets, report=report)
    return _Unwritten(job, files, like, may_replace, disk, written)


def _require_free(files: Mapping[Path, bytes]) -> None:
    for path in files:
        if os.path.lexists(path):
            raise TargetExistsError(exists_already(path))


def _are_there(files: Mapping[Path, bytes]) -> bool:
    """Whether all results are there, the same byte for byte."""
    return bool(files) and all(_holds(path, data) for path, data in files.items())


def _holds(path: Path, data: bytes) -> bool:
    try:
        return path.stat().st_size == len(data) and path.read_bytes() == data
    except OSError:
        return False


def _was_rewritten(path: Path, data: bytes, rewriter: Rewrites) -> bool:
    """Whether a file is what these rules make of its latest backup."""
    latest = None
    for backup in backups(Path(os.path.realpath(path))):
        if not backup.exists():
            break
        latest = backup
    return latest is not None and rewriter.rewrite(latest.read_bytes()).outputs == {"": data}


def our_fault(error: Exception) -> str:
    """Say that an error is a bug of ours, with what is needed to find it."""
    where, line = "", 0
    trace = error.__traceback__
    while trace is not None:
        where, line = trace.tb_frame.f_code.co_filename, trace.tb_lineno
        trace = trace.tb_next
    return (
        f"a fault in Pointsman itself, not in your file, which is as it was: {type(error).__name__}: {error} "
        f"({Path(where).name}:{line}). Please report this line, with the file if you can"
    )
