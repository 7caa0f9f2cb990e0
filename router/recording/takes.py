"""The .mid files of journals that are complete, or that were left behind."""

from __future__ import annotations

import errno
import os
from collections.abc import Callable, Iterable
from contextlib import ExitStack
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Final

from router.files.atomic_writing import TargetExistsError, holds, write_new
from router.files.clock import SYSTEM_CLOCK, Clock
from router.files.disk import DISK, Disk
from router.files.file_lock import lock
from router.files.regular_files import open_regular, read_regular
from router.files.temporary_file import remove_abandoned_files
from router.recording.journal_files import SUFFIX, numbered, target_of
from router.text.formatting import plain, why
from rules.errors import MachineError
from rules.journal.format import HEAD

if TYPE_CHECKING:
    from rules.journal.export import Take

_MOST_BYTES: Final = 1 << 30  # bytes of a journal: more than a day of dense playing
_NEWBORN_S: Final = 60.0  # seconds in which a journal gets its first bytes, and its lock
_OPEN_FILES_STAY: Final = os.name == "nt"  # nobody can delete a file that is open


class BusyError(MachineError):
    """A journal that is still being written."""


@dataclass(frozen=True, slots=True)
class Saved:
    """What came of a journal: the .mid file, None where nobody played, and what is in it.

    `undeleted` says why the journal is still there (it can't be deleted, or is damaged); "" where it isn't.
    """

    path: Path | None
    take: Take
    undeleted: str = ""


def save(journal: Path, disk: Disk = DISK, clock: Clock = SYSTEM_CLOCK) -> Saved:
    """Make the .mid file of a journal that is complete or was left behind, and delete the journal.

    No file is overwritten: the take gets another name where there is one, unless that is this very take, of a journal
    that couldn't be deleted before. A journal in which nobody played is only deleted. Raises BusyError if it is still
    being written, MachineError if the disk refuses the take, or no take can be made of it; then the journal stays. So
    does one that is damaged: the take holds what was played before that.
    """
    try:
        handle = open_regular(journal)
    except OSError as error:
        raise MachineError(f"{journal} can't be read: {why(error)}") from error
    with ExitStack() as locked:
        locked.callback(os.close, handle)
        if not lock(handle):
            raise BusyError(f"{journal} is still being written")
        like = os.fstat(handle)
        take, damage = _take_of(journal, _content(journal, clock.wall_s() - like.st_mtime))
        path = write_take(target_of(journal), take, like, disk) if take.played else None
        remove_abandoned_files(journal.parent)  # of a process that was killed while it saved this very take
        if _OPEN_FILES_STAY:
            locked.close()  # elsewhere it is locked until it is gone, so that nobody else saves it meanwhile
        return Saved(path, take, damage or _delete(journal))


def _take_of(journal: Path, data: bytes) -> tuple[Take, str]:
    """Return what a journal holds as a take, up to its damage; and what is damaged, "" for nothing.

    Raises MachineError where nobody played before the damage, or a fault of ours lets no take be made.
    """
    from rules.journal.export import make_take  # which reads rules: no command loads that before it saves
    from rules.journal.integrity import intact_part

    end, damage = intact_part(data, len(HEAD))
    try:
        take = make_take(data[:end], len(HEAD))
    except Exception as error:
        raise MachineError(
            f"the journal {journal} can't become a .mid file: {type(error).__name__}: {error}"
        ) from error
    if not damage:
        return take, ""
    where = f"damaged at byte {end:,}: {damage}"
    if not take.played:
        raise MachineError(f"the journal {journal} can't become a .mid file: it is {where}")
    return take, f"the journal {journal} is {where}. The file has what was played before that, and the journal is kept"


def _delete(journal: Path) -> str:
    """Delete a journal whose take is safe; say why it is still there, "" if it isn't."""
    try:
        journal.unlink(missing_ok=True)
    except OSError as error:
        return f"the journal {journal} can't be deleted: {why(error)}"
    return ""


def left_behind(folder: Path) -> list[Path]:
    """The journals in a folder, also those that are still being written."""
    return sorted(folder.glob(f"*{SUFFIX}"))


def save_all(
    journals: Iterable[Path], say: Callable[[str], None], complain: Callable[[str], None] | None = None
) -> list[Path]:
    """Make the .mid files of journals that nobody writes any more, and return them.

    `say` is told of each, and `complain` (also `say`, unless it is given) of each that can't be saved, or deleted.
    """
    complain = complain or say
    saved: list[Path] = []
    for journal in journals:
        try:
            made = save(journal)
        except BusyError:
            continue
        except MachineError as error:
            complain(f"a recording from before can't be saved: {error}")
            continue
        if made.path is not None:
            saved.append(made.path)
            words = f"a recording from before is saved in {plain(str(made.path))}"
            if made.undeleted:
                complain(f"{words}, but {made.undeleted}")
            else:
                say(words)
        elif made.undeleted:
            complain(f"nobody played in a recording from before, and {made.undeleted}")
    return saved


def save_records(data: bytes, target: Path, disk: Disk = DISK) -> Saved:
    """Make the .mid file of packed records, as the daemon remembers them; nobody had to ask for it before.

    The name is free, or the next one is taken. Raises MachineError if the disk refuses it.
    """
    from rules.journal.export import make_take

    take = make_take(data)
    return Saved(write_take(target, take, None, disk) if take.played else None, take)


def _content(journal: Path, age: float) -> bytes:
    """Return what a journal holds; `age` is since how many seconds it hasn't changed."""
    try:
        data = read_regular(journal, _MOST_BYTES)
    except OSError as error:
        if error.errno == errno.EFBIG:
            size = f"{_MOST_BYTES // 1_000_000:,} MB"
            raise MachineError(f"{journal} is larger than {size}: it is too long for one .mid file") from error
        raise MachineError(f"{journal} can't be read: {why(error)}") from error
    if not data.startswith(HEAD):
        if not HEAD.startswith(data):
            raise MachineError(f"{journal} isn't a journal of Pointsman: give it another name, or move it away")
        if age < _NEWBORN_S:
            raise BusyError(f"{journal} has only just begun")
    return data


def write_take(target: Path, take: Take, like: os.stat_result | None, disk: Disk = DISK) -> Path:
    """Write a take under its name, or the next one that is free, with the permissions of `like`; return the name.

    Without `like` the umask decides, as for any new file. A take that is there already, the same byte for byte, isn't
    written again. Raises MachineError.
    """
    for path in numbered(target):
        try:
            write_new({path: take.data}, like=like, replace=False, disk=disk)
        except TargetExistsError:
            if not holds(path, take.data):
                continue
        return path
    raise MachineError(f"{target}: there are too many files with this name: move some away")
