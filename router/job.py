"""One file from the disk through the rules and back, and what came of it. Nothing that happens here stops a batch."""

from __future__ import annotations

import os
from dataclasses import dataclass, replace
from enum import Enum
from pathlib import Path
from time import perf_counter
from typing import TYPE_CHECKING, Protocol

from router.files import Job, Unusable
from router.names import for_port
from router.words import why
from router.writing import DISK, Disk, TargetExistsError, exists_already, write_back, write_new
from rules.errors import MachineError, MidiFileError

if TYPE_CHECKING:
    from rules.smf.rewriting import FileReport, Rewritten


class Outcome(Enum):
    """How it went with one file."""

    WRITTEN = "written"
    UNCHANGED = "unchanged"  # in place, and the rules change nothing
    LOOKED_AT = "looked at"  # a dry run
    REFUSED = "refused"  # its result has no place to go
    FAILED = "failed"


@dataclass(frozen=True, slots=True)
class FileResult:
    """What came of one file.

    `targets` are the files written (or that would be), `backup` is the name under which the old file was kept, `reason`
    says why nothing was written, at byte `offset` if a byte is to blame. `seconds` is how long it took.
    """

    source: str
    outcome: Outcome
    targets: tuple[str, ...] = ()
    backup: str = ""
    reason: str = ""
    offset: int | None = None
    seconds: float = 0.0
    report: FileReport | None = None

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
    """How results are written: `force` replaces what is there, `dry_run` writes nothing."""

    force: bool = False
    dry_run: bool = False


def unusable(item: Unusable) -> FileResult:
    """Return the result of a file that can't be begun with."""
    return FileResult(str(item.path), Outcome.REFUSED if item.refused else Outcome.FAILED, reason=item.reason)


def do(job: Job, rewriter: Rewrites, manner: Manner, disk: Disk = DISK) -> FileResult:
    """Rewrite one file. Whatever goes wrong is told in the result, and leaves the disk as it was."""
    began = perf_counter()
    result = _attempt(job, rewriter, manner, disk)
    return replace(result, seconds=perf_counter() - began)


def _attempt(job: Job, rewriter: Rewrites, manner: Manner, disk: Disk) -> FileResult:
    name = str(job.source)
    try:
        return _rewrite(job, rewriter, manner, disk)
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


def _rewrite(job: Job, rewriter: Rewrites, manner: Manner, disk: Disk) -> FileResult:
    try:
        data = job.source.read_bytes()
        like = job.source.stat()
    except OSError as error:
        raise MachineError(f"the file can't be read: {why(error)}") from error
    rewritten = rewriter.rewrite(data)
    name, report = str(job.source), rewritten.report
    if job.in_place and rewritten.outputs == {"": data}:
        return FileResult(name, Outcome.UNCHANGED, report=report)
    files = {} if job.target is None else {for_port(job.target, port): out for port, out in rewritten.outputs.items()}
    targets = tuple(map(str, files))
    if manner.dry_run:
        if not (manner.force or job.in_place):
            _require_free(files)
        return FileResult(name, Outcome.LOOKED_AT, targets, report=report)
    if job.in_place:
        backup = write_back(job.source, rewritten.outputs[""], disk=disk)
        return FileResult(name, Outcome.WRITTEN, targets, str(backup), report=report)
    write_new(files, like=like, replace=manner.force, disk=disk)
    return FileResult(name, Outcome.WRITTEN, targets, report=report)


def _require_free(files: dict[Path, bytes]) -> None:
    for path in files:
        if os.path.lexists(path):
            raise TargetExistsError(exists_already(path))


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
