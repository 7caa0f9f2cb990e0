"""Results reach the disk whole or not at all.

What holds here:

* A file is written under a name of its own in the folder where it belongs, flushed to the disk, and only then given its
  real name, in one step. Others see nothing, the old file or the new one, and never half of one.
* Nothing is overwritten unless that was asked for, even if it appeared a moment ago.
* A file rewritten in place keeps a backup, whose name is on the disk before the file changes; no backup is ever
  overwritten.
* When files have their names, their folder is flushed to the disk too, once.
* An interruption (Ctrl-C, a closed terminal) waits until the files in hand are in place.
"""

from __future__ import annotations

import errno
import os
from collections.abc import Callable, Generator, Iterator, Mapping, Sequence
from contextlib import ExitStack, contextmanager, suppress
from pathlib import Path
from typing import Final, TypeVar

from router.files.disk import DISK, Disk
from router.files.file_names import backups
from router.files.interrupts import undisturbed
from router.files.temporary_file import TemporaryFile
from router.text.formatting import why
from rules.errors import MachineError

T = TypeVar("T")

_ADVICE: Final = {
    **dict.fromkeys((errno.ENOSPC, errno.EDQUOT), ": free some space, and run it again"),
    **dict.fromkeys((errno.EACCES, errno.EPERM, errno.EROFS), ": choose a folder that you may write to"),
}


class TargetExistsError(MachineError):
    """A file of that name is there already, and nobody said that it may be replaced."""


Wait = Callable[[], None]
"""Waits until the disk has what was written. Any thread may do that; it raises nothing."""

WritingSteps = Generator[Wait, None, T]
"""Writing in two steps, for callers with other things to do meanwhile: files are written, a wait is given, and once
that is over they get their names. Where the steps are not finished, nothing is left behind."""


def at_once(steps: WritingSteps[T]) -> T:
    """Go all steps, and wait where there is to wait."""
    while True:
        try:
            wait = next(steps)
        except StopIteration as end:
            result: T = end.value
            return result
        wait()


def write_new(
    files: Mapping[Path, bytes], *, like: os.stat_result | None = None, replace: bool, disk: Disk = DISK
) -> None:
    """Write `files`, all of them or none, with the permissions of `like`; missing folders are made.

    Without `like` the umask decides, as for any new file. A file that is there already is replaced only with
    `replace`. Raises TargetExistsError, and MachineError if the disk refuses; then every path is as it was (with
    `replace`, files before the failing one may be new).
    """
    with undisturbed():
        at_once(writing_new(files, like=like, replace=replace, disk=disk))


def writing_new(
    files: Mapping[Path, bytes], *, like: os.stat_result | None, replace: bool, disk: Disk
) -> WritingSteps[None]:
    """Do the same in steps."""
    with ExitStack() as temporary_files:
        with undisturbed():
            ready = {}
            for path, data in files.items():
                with _explained(path):
                    disk.make_folder(path.parent)
                    ready[path] = temporary_files.enter_context(TemporaryFile(path.parent, data, like, disk))
        yield _all_flushed(list(ready.values()))
        with undisturbed(), temporary_files.pop_all():
            for path, temporary in ready.items():
                with _explained(path):
                    temporary.close()
            _put_in_place({path: temporary.path for path, temporary in ready.items()}, replace, disk)
    for folder in {path.parent for path in files}:
        disk.settle(folder)


def writing_back(
    path: Path, data: bytes, *, disk: Disk, announce: Callable[[Path], None] = lambda path: None
) -> WritingSteps[Path]:
    """Put `data` in place of the file `path`, in steps; they return the name under which the old file was kept.

    A link stays a link: the file that it names is the one rewritten. `announce` is called with that when all is ready,
    just before anything changes its name. Raises MachineError; then the file is as it was.
    """
    path = Path(os.path.realpath(path))
    with ExitStack() as temporary_files:
        with undisturbed(), _explained(path):
            like = path.stat()
            temporary = temporary_files.enter_context(TemporaryFile(path.parent, data, like, disk))
        yield temporary.flush
        with undisturbed(), _explained(path), temporary_files.pop_all():
            temporary.close()
            _give_to_owner(temporary.path, like)
            announce(path)
            backup = _keep(path, like, disk)
            disk.settle_at_once(path.parent)  # the only copy of what was played has no other name in a moment
            try:
                disk.replace(temporary.path, path)
            except OSError:
                backup.unlink()
                raise
    disk.settle(path.parent)
    return backup


def give_back(path: Path, backup: Path, *, disk: Disk = DISK) -> None:
    """Let a backup take the place of the file `path`, whose content is gone then. Raises MachineError."""
    with undisturbed(), _explained(path):
        disk.replace(backup, path)


@contextmanager
def _explained(path: Path) -> Iterator[None]:
    """Turn the refusal of the disk into words that name `path`."""
    try:
        yield
    except OSError as error:
        raise MachineError(f"{path} can't be written: {why(error)}{_ADVICE.get(error.errno or 0, '')}") from error


def _all_flushed(temporary_files: Sequence[TemporaryFile]) -> Wait:
    def flush() -> None:
        for temporary in temporary_files:
            temporary.flush()

    return flush


def _put_in_place(ready: Mapping[Path, Path], replace: bool, disk: Disk) -> None:
    placed: list[Path] = []
    try:
        for path, temporary in ready.items():
            with _explained(path):
                if replace:
                    disk.replace(temporary, path)
                else:
                    _name_anew(temporary, path, disk)
                    placed.append(path)
    except MachineError:
        for path in placed:
            path.unlink()
        raise


def _name_anew(temporary: Path, path: Path, disk: Disk) -> None:
    """Give the file its name unless there is such a file.

    A further link does that in one step; disks without links (many USB sticks) are asked first.
    """
    try:
        disk.link(temporary, path)
    except FileExistsError:
        raise TargetExistsError(exists_already(path)) from None
    except OSError:
        if os.path.lexists(path):
            raise TargetExistsError(exists_already(path)) from None
        disk.replace(temporary, path)


def exists_already(path: Path) -> str:
    """Say that a result would overwrite something."""
    return f"{path} exists already: move it away, choose another name, or replace it with --force"


def holds(path: Path, data: bytes) -> bool:
    """Return whether a file is there already, the same byte for byte."""
    try:
        return path.stat().st_size == len(data) and path.read_bytes() == data
    except OSError:
        return False


def _give_to_owner(path: Path, like: os.stat_result) -> None:
    """Let a file rewritten in place stay its owner's, where we may: only root rewrites what belongs to others."""
    if hasattr(os, "chown"):
        with suppress(OSError):
            os.chown(path, like.st_uid, like.st_gid)


def _keep(path: Path, like: os.stat_result, disk: Disk) -> Path:
    """Give the file a further name, the first backup name that is free; return that."""
    for backup in backups(path):
        try:
            disk.link(path, backup)
        except FileExistsError:
            continue
        except OSError:
            if os.path.lexists(backup):
                continue
            with TemporaryFile(path.parent, path.read_bytes(), like, disk) as temporary:
                temporary.flush()
                temporary.close()
                disk.replace(temporary.path, backup)
        return backup
    raise MachineError(f"{path} has too many backups: move some away")
