"""One recording from the disk, for commands that look at it and write none."""

from __future__ import annotations

import errno
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Final

from router.files.regular_files import read_regular
from router.text.formatting import plain, why
from rules.errors import MachineError, MidiFileError

MOST_BYTES: Final = 64_000_000
"""How large a recording may be that is looked at as a whole: millions of notes."""


def read_take(name: str) -> bytes:
    """Return the bytes of a recording. Raises MachineError for what is missing, too large or can't be read."""
    try:
        return read_regular(Path(name), MOST_BYTES)
    except OSError as error:
        if error.errno == errno.EFBIG:
            size = f"{MOST_BYTES // 1_000_000} MB"
            raise MachineError(f"{plain(name)}: the recording is larger than {size}: export a part of it") from error
        raise MachineError(f"{plain(name)}: the recording can't be read: {why(error)}") from error


@contextmanager
def faults_named(take: str) -> Iterator[None]:
    """Let what is wrong within a recording name the file. Raises MachineError in place of MidiFileError."""
    try:
        yield
    except MidiFileError as error:
        raise MachineError(f"{plain(take)}: {error}") from error
