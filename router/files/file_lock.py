"""Locks on open files: they end with the process that has them, however it ends."""

from __future__ import annotations


def lock(handle: int) -> bool:
    """Lock an open file for this process; False if another one has it. Where files can't be locked, nobody has it."""
    try:
        import fcntl
    except ImportError:
        return True
    try:
        fcntl.flock(handle, fcntl.LOCK_EX | fcntl.LOCK_NB)
    except BlockingIOError:
        return False
    except OSError:  # a network disk that can't lock
        return True
    return True


def unlock(handle: int) -> None:
    """Let others have an open file, also where processes that were forked have it open, too."""
    try:
        import fcntl
    except ImportError:
        return
    try:
        fcntl.flock(handle, fcntl.LOCK_UN)
    except OSError:  # a network disk that can't lock
        return
