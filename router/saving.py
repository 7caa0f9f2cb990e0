"""The .mid files of journals that are complete, or that were left behind."""

from __future__ import annotations

import os
import time
from collections.abc import Callable, Iterable
from dataclasses import dataclass
from pathlib import Path
from typing import Final

from router.journals import SUFFIX, lock, numbered, target_of
from router.words import plain, why
from router.writing import DISK, Disk, TargetExistsError, write_new
from rules.errors import MachineError
from rules.journal import HEAD
from rules.take import Take, make_take

_NEWBORN: Final = 60.0  # seconds in which a journal gets its first bytes, and its lock


class BusyError(MachineError):
    """A journal that is still being written."""


@dataclass(frozen=True, slots=True)
class Saved:
    """What came of a journal: the .mid file, None where nobody played, and what is in it."""

    path: Path | None
    take: Take


def save(journal: Path, disk: Disk = DISK) -> Saved:
    """Make the .mid file of a journal that is complete or was left behind, and delete the journal.

    No file is overwritten: the take gets another name where there is one. A journal in which nobody played is only
    deleted. Raises BusyError if it is still being written, MachineError if the disk refuses; then the journal stays.
    """
    try:
        handle = os.open(journal, os.O_RDONLY | getattr(os, "O_BINARY", 0))
    except OSError as error:
        raise MachineError(f"{journal} can't be read: {why(error)}") from error
    try:
        if not lock(handle):
            raise BusyError(f"{journal} is still being written")
        like = os.fstat(handle)
        take = make_take(_content(journal, time.time() - like.st_mtime), len(HEAD))
        path = write_take(target_of(journal), take, like, disk) if take.played else None
        journal.unlink(missing_ok=True)
    finally:
        os.close(handle)
    return Saved(path, take)


def left_behind(folder: Path) -> list[Path]:
    """The journals in a folder, also those that are still being written."""
    return sorted(folder.glob(f"*{SUFFIX}"))


def save_all(
    journals: Iterable[Path], say: Callable[[str], None], complain: Callable[[str], None] | None = None
) -> list[Path]:
    """Make the .mid files of journals that nobody writes any more, and return them.

    `say` is told of each, and `complain` (also `say`, unless it is given) of each that can't be saved.
    """
    saved: list[Path] = []
    for journal in journals:
        try:
            made = save(journal)
        except BusyError:
            continue
        except MachineError as error:
            (complain or say)(f"a recording was left behind and can't be saved: {error}")
            continue
        if made.path is not None:
            saved.append(made.path)
            say(f"a recording was left behind; it is saved as {plain(str(made.path))}")
    return saved


def _content(journal: Path, age: float) -> bytes:
    """What a journal holds; `age` is since how many seconds it hasn't changed."""
    try:
        data = journal.read_bytes()
    except OSError as error:
        raise MachineError(f"{journal} can't be read: {why(error)}") from error
    if not data.startswith(HEAD):
        if not HEAD.startswith(data):
            raise MachineError(f"{journal} is no journal of pointsman; give it another name, or move it away")
        if age < _NEWBORN:
            raise BusyError(f"{journal} is just being begun")
    return data


def write_take(target: Path, take: Take, like: os.stat_result, disk: Disk = DISK) -> Path:
    """Write a take under its name, or the next one that is free, with the permissions of `like`; return the name.

    Raises MachineError.
    """
    for path in numbered(target):
        try:
            write_new({path: take.data}, like=like, replace=False, disk=disk)
        except TargetExistsError:
            continue
        return path
    raise MachineError(f"{target}: too many files of this name; move some away")
