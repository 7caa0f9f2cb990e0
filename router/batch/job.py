"""One file from the disk through the rules and back, and what came of it. Nothing that happens here stops a batch."""

from __future__ import annotations

import os
from dataclasses import dataclass, replace
from enum import Enum
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING, Final, Protocol

from router.batch.in_place_record import NO_MARK, Mark, digest, note_rewriting
from router.batch.plan import Job
from router.batch.search import Unusable
from router.files.atomic_writing import (
    TargetExistsError,
    Wait,
    WritingSteps,
    at_once,
    exists_already,
    holds,
    writing_back,
    writing_new,
)
from router.files.clock import SYSTEM_CLOCK, Clock
from router.files.disk import DISK, Disk
from router.files.file_names import backups, for_port
from router.files.regular_files import read_regular
from router.text.formatting import why
from rules.errors import MachineError, MidiFileError

if TYPE_CHECKING:
    from rules.smf.report import FileReport, Rewritten


REWRITTEN_BEFORE: Final = (
    "these rules have rewritten it in place already: --again does so once more, --resume skips it, and --undo restores "
    "what it was"
)


class FileOutcome(Enum):
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

    `targets` are the files written (or that would be, or are there already), `backup` is the name under which the old
    file was kept, `reason` says why nothing was written, at byte `offset` if a byte is to blame. `seconds` is how long
    it took. `stamp` is that of the file that was read. `leftovers` are files of earlier days, where results of ports
    would lie that are silent.
    """

    source: str
    outcome: FileOutcome
    targets: tuple[str, ...] = ()
    backup: str = ""
    reason: str = ""
    offset: int | None = None
    seconds: float = 0.0
    report: FileReport | None = None
    stamp: Stamp | None = None
    leftovers: tuple[str, ...] = ()

    @property
    def is_good(self) -> bool:
        """Whether all went as asked."""
        return self.outcome not in (FileOutcome.REFUSED, FileOutcome.FAILED)


class Rewrites(Protocol):
    """What turns the bytes of a file into those of its results."""

    def rewrite(self, data: bytes) -> Rewritten:
        """Return the results by port name ("" for a single one). Raises MidiFileError."""
        ...


@dataclass(frozen=True, slots=True)
class WritingOptions:
    """How results are written: `force` replaces what is there, `dry_run` writes nothing.

    In place, `twice` lets rules be applied to what they made, and `mark` is what the record tells of this run. With
    `resume` a result that is there, the same byte for byte, is done before; and so is a recording in place whose
    latest backup would become what the recording is now.
    """

    force: bool = False
    dry_run: bool = False
    resume: bool = False
    twice: bool = False
    mark: Mark = NO_MARK


def unusable(item: Unusable) -> FileResult:
    """Return the result of a file that can't be rewritten at all."""
    return FileResult(str(item.path), FileOutcome.REFUSED if item.refused else FileOutcome.FAILED, reason=item.reason)


class StartedJob:
    """A file that was read, rewritten and handed to the system. `size` is that of the recording, in bytes."""

    def __init__(
        self, job: Job, rewriter: Rewrites, options: WritingOptions, disk: Disk, clock: Clock = SYSTEM_CLOCK
    ) -> None:
        began = clock.now_ns()
        self._clock = clock
        self.size = job.size
        self._steps = _attempt(job, rewriter, options, disk)
        self._result: FileResult | None = None
        self._wait: Wait | None = None
        try:
            self._wait = next(self._steps)
        except StopIteration as end:
            self._result = end.value
        self._took_ns = clock.now_ns() - began

    def wait(self) -> None:
        """Wait until the disk has the results, unless somebody has. Any thread may do that."""
        if self._wait is not None:
            self._wait()
            self._wait = None

    def finish(self) -> FileResult:
        """Give the results their names, which they don't get before the disk has them; what came of it."""
        began = self._clock.now_ns()
        self.wait()
        result = at_once(self._steps) if self._result is None else self._result
        return replace(result, seconds=(self._took_ns + self._clock.now_ns() - began) / 1e9)


def start_job(job: Job, rewriter: Rewrites, options: WritingOptions, disk: Disk = DISK) -> StartedJob:
    """Read and rewrite one file. Whatever goes wrong is in the result, and leaves the disk as it was."""
    return StartedJob(job, rewriter, options, disk)


def do_job(job: Job, rewriter: Rewrites, options: WritingOptions, disk: Disk = DISK) -> FileResult:
    """Rewrite one file from beginning to end."""
    return start_job(job, rewriter, options, disk).finish()


def _attempt(job: Job, rewriter: Rewrites, options: WritingOptions, disk: Disk) -> WritingSteps[FileResult]:
    name = str(job.source)
    try:
        return (yield from _rewrite(job, rewriter, options, disk))
    except MidiFileError as error:
        return FileResult(name, FileOutcome.FAILED, reason=error.text, offset=error.offset)
    except TargetExistsError as error:
        return FileResult(name, FileOutcome.REFUSED, reason=str(error))
    except MachineError as error:
        return FileResult(name, FileOutcome.FAILED, reason=str(error))
    except MemoryError:
        return FileResult(
            name, FileOutcome.FAILED, reason="this computer doesn't have enough memory for it: try --jobs 1"
        )
    except Exception as error:
        return FileResult(name, FileOutcome.FAILED, reason=internal_error(error))


def _rewrite(job: Job, rewriter: Rewrites, options: WritingOptions, disk: Disk) -> WritingSteps[FileResult]:
    try:
        like = job.source.stat()
        data = read_regular(job.source)
    except OSError as error:
        raise MachineError(f"the file can't be read: {why(error)}") from error
    may_be_done = options.resume or job.again
    if may_be_done and job.in_place and (digest(data) in job.made or _was_rewritten(job.source, data, rewriter)):
        return FileResult(str(job.source), FileOutcome.DONE)
    rewritten = rewriter.rewrite(data)
    name, report = str(job.source), rewritten.report
    if job.in_place and rewritten.outputs == {"": data}:
        return FileResult(name, FileOutcome.UNCHANGED, report=report)
    if job.in_place and not options.twice and _was_made(job, data, rewriter):
        return FileResult(name, FileOutcome.REFUSED, reason=REWRITTEN_BEFORE)
    files = {} if job.target is None else {for_port(job.target, port): out for port, out in rewritten.outputs.items()}
    targets = tuple(map(str, files))
    stamp = stamp_of(like)
    may_replace = options.force or job.replace
    if may_be_done and not job.in_place and _are_there(files):
        if job.again:
            return FileResult(name, FileOutcome.WRITTEN, targets, report=report, stamp=stamp)
        return FileResult(name, FileOutcome.DONE, targets, stamp=stamp)
    if options.dry_run:
        if not (may_replace or job.in_place):
            _require_free(files)
        return FileResult(name, FileOutcome.LOOKED_AT, targets, report=report)
    if job.in_place:
        announce = partial(_announce, mark=options.mark, before=data, after=rewritten.outputs[""])
        backup = yield from writing_back(job.source, rewritten.outputs[""], disk=disk, announce=announce)
        return FileResult(name, FileOutcome.WRITTEN, targets, str(backup), report=report)
    yield from writing_new(files, like=like, replace=may_replace, disk=disk)
    return FileResult(name, FileOutcome.WRITTEN, targets, report=report, stamp=stamp)


def _announce(path: Path, mark: Mark, before: bytes, after: bytes) -> None:
    """Put a rewriting in place down, where a record is kept."""
    if mark != NO_MARK:
        note_rewriting(path, mark, before, after)


def _require_free(files: dict[Path, bytes]) -> None:
    for path in files:
        if os.path.lexists(path):
            raise TargetExistsError(exists_already(path))


def _are_there(files: dict[Path, bytes]) -> bool:
    """Return whether all results are there, the same byte for byte."""
    return bool(files) and all(holds(path, data) for path, data in files.items())


def _was_made(job: Job, data: bytes, rewriter: Rewrites) -> bool:
    """Return whether a file in place is what these rules have made of it, as far as record or backup tell."""
    if digest(data) in job.made:
        return True
    try:
        return _was_rewritten(job.source, data, rewriter)
    except MachineError:  # it may be anybody's backup
        return False


def _was_rewritten(path: Path, data: bytes, rewriter: Rewrites) -> bool:
    """Return whether a file is what these rules make of its latest backup.

    Raises MachineError where that can't be known: it must not be rewritten twice.
    """
    latest = None
    for backup in backups(Path(os.path.realpath(path))):
        if not backup.exists():
            break
        latest = backup
    if latest is None:
        return False
    try:
        return rewriter.rewrite(latest.read_bytes()).outputs == {"": data}
    except (OSError, MidiFileError) as error:
        reason = why(error) if isinstance(error, OSError) else error.text
        raise MachineError(f"its backup {latest.name} can't be compared with it: {reason}") from error


def internal_error(error: Exception) -> str:
    """Return an error as a bug of Pointsman, with what is needed to find it."""
    where, line = "", 0
    trace = error.__traceback__
    while trace is not None:
        where, line = trace.tb_frame.f_code.co_filename, trace.tb_lineno
        trace = trace.tb_next
    return (
        f"Internal error. Please report: {type(error).__name__}: {error} ({Path(where).name}:{line}). "
        "Your file is as it was: send it too, if you can"
    )
