"""Regular files opened and read in bounded time: a pipe or a device in the place of a file never blocks us.

Reading a pipe that nobody writes to waits for ever, and a device may have no end. So a file is opened without waiting,
and refused unless it is a regular one.
"""

from __future__ import annotations

import errno
import io
import os
import stat
from pathlib import Path
from typing import Final

_AT_ONCE: Final = getattr(os, "O_NONBLOCK", 0) | getattr(os, "O_NOCTTY", 0) | getattr(os, "O_CLOEXEC", 0)
_AS_IT_IS: Final = getattr(os, "O_BINARY", 0)
_NO_LINKS: Final = getattr(os, "O_NOFOLLOW", 0)

NOT_REGULAR: Final = "it isn't a regular file"


def open_regular(path: str | os.PathLike[str], flags: int = os.O_RDONLY, *, follow_links: bool = True) -> int:
    """Open a regular file and return its descriptor, which the caller closes.

    `flags` are those of `os.open`. Raises OSError, also for pipes, devices and folders, and for a link unless
    `follow_links`.
    """
    if not follow_links and os.path.islink(path):
        raise OSError(errno.EINVAL, "it is a link", str(path))  # without O_NOFOLLOW, this is all there is
    handle = os.open(path, flags | _AT_ONCE | _AS_IT_IS | (0 if follow_links else _NO_LINKS), 0o666)
    mode = os.fstat(handle).st_mode
    if stat.S_ISREG(mode):
        return handle
    os.close(handle)
    if stat.S_ISDIR(mode):
        raise IsADirectoryError(errno.EISDIR, "it is a folder", str(path))
    raise OSError(errno.EINVAL, NOT_REGULAR, str(path))


def read_regular(path: str | os.PathLike[str], most: int | None = None) -> bytes:
    """Return the bytes of a regular file, of which there may be `most`; None is any number.

    Raises OSError as `open_regular` does, with EFBIG for a file that is longer.
    """
    with os.fdopen(open_regular(path), "rb", buffering=0) as file:
        data = file.readall() if most is None else _read(file, most + 1)
    if most is not None and len(data) > most:
        raise OSError(errno.EFBIG, f"it is larger than {most:,} bytes", str(Path(path)))
    return data


def _read(file: io.FileIO, most: int) -> bytes:
    """Return the bytes of a file, up to `most`, without room for so many where it has fewer."""
    data = file.read(min(os.fstat(file.fileno()).st_size + 1, most))
    while len(data) < most and (more := file.read(min(most - len(data), 65_536))):
        data += more
    return data
