"""The name of a daemon, which no other process of the user has until this one ends, however it ends."""

from __future__ import annotations

import os
from pathlib import Path

from router.daemon.control_socket import is_alive
from router.text.formatting import why
from rules.errors import MachineError


def lock_name(path: Path, name: str) -> int:
    """Lock a name, whose control socket is at `path`; return the handle of the lock, which is given back by closing it.

    Raises MachineError if a daemon of this name runs already, or the lock can't be made.
    """
    import fcntl  # not on every system, and those have been refused by now

    locked = path.with_suffix(".lock")
    try:
        lock = os.open(locked, os.O_RDWR | os.O_CREAT, 0o600)
    except OSError as error:
        raise MachineError(f"{locked}: can't be made: {why(error)}") from error
    try:
        fcntl.flock(lock, fcntl.LOCK_EX | fcntl.LOCK_NB)
        if is_alive(path):  # somebody tidied the lock away
            raise BlockingIOError
        os.ftruncate(lock, 0)
        os.pwrite(lock, f"{os.getpid()}\n".encode(), 0)
    except OSError as error:
        number = os.pread(lock, 20, 0).decode("ascii", "replace").strip()
        os.close(lock)
        if isinstance(error, BlockingIOError):
            raise MachineError(_in_use(name, number)) from None
        raise MachineError(f"{locked}: can't be locked: {why(error)}") from error
    return lock


def _in_use(name: str, number: str) -> str:
    process = f" (process {number})" if number.isdigit() else ""
    return (
        f'a daemon named "{name}" runs already{process}: use another --name, or edit the rules of the running one. '
        "It reads them again when you save them"
    )
