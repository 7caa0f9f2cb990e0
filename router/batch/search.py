"""Which MIDI files a command means: files as they are, and folders with all that is in and below them.

The order is that of the command line, and by name within a folder.
"""

from __future__ import annotations

import os
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from pathlib import Path

from router.files.file_names import MIDI_SUFFIXES, is_hidden, is_midi_name, is_rule_name
from router.text.formatting import why

FileIdentity = tuple[int, int]
"""What a file is, whatever its names: device and number on the device."""


@dataclass(frozen=True, slots=True)
class FoundFile:
    """A file to rewrite: `path`, and `below`, its path as seen from the argument that led to it (a name, or folders
    and a name). `size` is in bytes."""

    path: Path
    below: Path
    identity: FileIdentity
    size: int


@dataclass(frozen=True, slots=True)
class Unusable:
    """A file or folder that can't be rewritten, and why, in words that say what to do."""

    path: Path
    reason: str
    refused: bool = False
    """True where the file itself is fine, but its result has no place to go."""


@dataclass(frozen=True, slots=True)
class LinkedFolder:
    """A link to a folder that was not followed: what it names may lie anywhere, and belong to somebody else."""

    path: Path


def find_files(
    arguments: Iterable[str], leave_out: Path | None = None, *, follow_links: bool = False
) -> Iterator[FoundFile | Unusable | LinkedFolder]:
    """Yield every file meant by `arguments`: files as they are, folders with all MIDI files in and below them.

    Hidden files and folders are passed over, and so is the folder `leave_out` (where results go) below an argument.
    Links to folders are not entered unless `follow_links`; an argument itself may be one.
    """
    for argument in arguments:
        path = Path(argument)
        if not os.path.isdir(path):
            yield _judged(path, Path(path.name))
            continue
        is_empty = True
        for item in _walk(path, Path(), leave_out, set(), follow_links):
            is_empty = is_empty and isinstance(item, LinkedFolder)
            yield item
        if is_empty:
            endings = ", ".join(sorted(MIDI_SUFFIXES))
            yield Unusable(path, f"there is no MIDI file ({endings}) in this folder or below it")


def _judged(path: Path, below: Path) -> FoundFile | Unusable:
    if is_rule_name(path.name):
        return Unusable(path, "this is a rule file: write --rules before it")
    try:
        status = path.stat()
    except OSError as error:
        return Unusable(path, f"the file can't be read: {why(error)}")
    if not os.path.isfile(path):
        return Unusable(path, "this isn't a regular file")
    return FoundFile(path, below, (status.st_dev, status.st_ino), status.st_size)


def _walk(
    folder: Path, below: Path, leave_out: Path | None, seen: set[FileIdentity], follow_links: bool
) -> Iterator[FoundFile | Unusable | LinkedFolder]:
    """The MIDI files of one folder and those below; a folder that links lead back to is walked once."""
    try:
        status = folder.stat()
        names = sorted(name for name in os.listdir(folder) if not is_hidden(name))
    except OSError as error:
        yield Unusable(folder, f"the folder can't be read: {why(error)}")
        return
    if (status.st_dev, status.st_ino) in seen:
        return
    seen.add((status.st_dev, status.st_ino))
    for name in names:
        entry = folder / name
        if os.path.isdir(entry):
            if leave_out is not None and real_path(entry) == leave_out:
                continue
            if os.path.islink(entry) and not follow_links:
                yield LinkedFolder(entry)
            else:
                yield from _walk(entry, below / name, leave_out, seen, follow_links)
        elif is_midi_name(name):
            yield _judged(entry, below / name)


def real_path(path: Path) -> Path:
    """Return where a path leads to in the end, by all links; never an error."""
    return Path(os.path.realpath(path))
