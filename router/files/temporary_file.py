"""Temporary files, which get their real names once they are whole, and those that a killed process left behind."""

from __future__ import annotations

import os
import re
import stat
from contextlib import suppress
from pathlib import Path
from typing import Final, Self

from router.files.disk import Disk
from router.files.regular_files import open_regular

try:
    import fcntl
except ImportError:  # Windows has no such locks, and deletes no file that is open
    _LOCKS = False
else:
    _LOCKS = True

_NEW_MODE: Final = 0o666
_PRIVATE_MODE: Final = 0o600
_TEMPORARY_NAME: Final = re.compile(r"\.pointsman-[0-9a-f]{12}\.part")


class TemporaryFile:
    """A temporary file in `folder`; it is deleted in the end unless it got its real name. Raises OSError.

    It has the permissions of `like`; None: those of any new file, which the umask decides. It is locked as long as its
    process lives, which is how others know that it isn't abandoned.
    """

    def __init__(self, folder: Path, data: bytes, like: os.stat_result | None, disk: Disk) -> None:
        self._disk = disk
        self._error: OSError | None = None
        self._handle: int | None
        self.path, self._handle = _locked(folder, disk, _NEW_MODE if like is None else _PRIVATE_MODE)
        try:
            disk.write(self._handle, data)
            if like is not None and hasattr(os, "fchmod"):
                with suppress(OSError):  # disks without modes (many USB sticks, shares) refuse this, and take the file
                    os.fchmod(self._handle, stat.S_IMODE(like.st_mode) & 0o777)
        except BaseException:
            self.__exit__()
            raise

    def __enter__(self) -> Self:
        return self

    def __exit__(self, *_: object) -> None:
        self._close_handle()
        self.path.unlink(missing_ok=True)

    def flush(self) -> None:
        """Wait until the file is on the disk; `close` raises what went wrong."""
        try:
            if self._handle is not None:
                self._disk.flush(self._handle)
        except OSError as error:
            self._error = error

    def close(self) -> None:
        """Make the file ready for its real name. Raises what went wrong before."""
        if not _LOCKS:
            self._close_handle()  # there, no file that is open can get another name
        if self._error is not None:
            raise self._error

    def _close_handle(self) -> None:
        if self._handle is not None:
            handle, self._handle = self._handle, None
            os.close(handle)


def _locked(folder: Path, disk: Disk, mode: int) -> tuple[Path, int]:
    """Return a new file that is locked.

    One that was taken for abandoned before it was locked has lost its name: then another is made.
    """
    while True:
        path = folder / f".pointsman-{os.urandom(6).hex()}.part"
        handle = disk.create(path, mode)
        if _lock(handle, wait=True) and os.fstat(handle).st_nlink == 0:
            os.close(handle)
            continue
        return path, handle


def _lock(handle: int, *, wait: bool) -> bool:
    """Lock a file; return whether that worked. Some disks, and some systems, have no locks."""
    if not _LOCKS:
        return False
    try:
        fcntl.flock(handle, fcntl.LOCK_EX if wait else fcntl.LOCK_EX | fcntl.LOCK_NB)
    except OSError:
        return False
    return True


def remove_abandoned_files(folder: Path) -> int:
    """Delete temporary files in `folder` whose process was killed; return how many. Those being written stay."""
    removed = 0
    with suppress(OSError), os.scandir(folder) as entries:
        for path in [entry.path for entry in entries if _TEMPORARY_NAME.fullmatch(entry.name)]:
            with suppress(OSError):
                handle = open_regular(path, os.O_RDWR, follow_links=False)
                try:
                    if _lock(handle, wait=False):
                        os.unlink(path)
                        removed += 1
                finally:
                    os.close(handle)
    return removed
