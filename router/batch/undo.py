"""Giving recordings back what they were before a run rewrote them in place.

The last run is undone, as in an editor; asked again, the one before it. A recording is given its backup only if it is
still, byte for byte, what that run made of it: then nothing is lost that rules couldn't make again. The backup itself
becomes the recording, with its time and permissions. All others stay as they are, and are told.
"""

from __future__ import annotations

import os
import re
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Final, NamedTuple

from router.batch.in_place_record import Entry, InPlaceRecords, digest, time_of
from router.batch.job import Stamp, stamp_of
from router.batch.search import FoundFile, Unusable, find_files
from router.files.atomic_writing import give_back
from router.files.disk import DISK, Disk
from router.files.interrupts import ended_like_ctrl_c
from router.files.regular_files import read_regular
from router.text.formatting import count, why
from rules.errors import MachineError

_BACKUP: Final = re.compile(r"(.+)\.bak(\d*)")


class Restored(NamedTuple):
    """A recording that is again what it was, and the backup that it was made of, which is gone."""

    file: str
    backup: str


class LeftAlone(NamedTuple):
    """A recording that stays as it is, and why."""

    file: str
    reason: str


@dataclass(frozen=True, slots=True)
class Undone:
    """What `undo` did: `run` is when the run began that was undone, "" for none.

    `earlier` says that a run before it can be undone, too.
    """

    restored: tuple[Restored, ...]
    problems: tuple[LeftAlone, ...]
    run: str
    earlier: bool
    dry_run: bool


class _Undoable(NamedTuple):
    """What can be undone: the file, how it looked then, its backup, the entry, and whether there is more behind it."""

    name: str
    path: Path
    stamp: Stamp
    backup: Path
    entry: Entry
    earlier: bool


def undo(files: Iterable[str], *, follow_links: bool = False, dry_run: bool = False, disk: Disk = DISK) -> Undone:
    """Undo the last run in place of `files`, which are recordings and folders of them.

    With `dry_run` nothing is changed. Raises MachineError if a run is still at work there.
    """
    found = [item for item in find_files(files, follow_links=follow_links) if isinstance(item, FoundFile | Unusable)]
    paths = {os.path.realpath(item.path): str(item.path) for item in found if isinstance(item, FoundFile)}
    problems = [LeftAlone(str(item.path), item.reason) for item in found if isinstance(item, Unusable)]
    records = InPlaceRecords(paths, read_only=dry_run, create=False)
    try:
        undoable: list[_Undoable] = []
        backups = _Backups()
        for path, name in paths.items():
            one = _undoable(name, Path(path), records.entries(path), backups)
            if isinstance(one, _Undoable):
                undoable.append(one)
            elif one is not None:
                problems.append(one)
        run = max((one.entry.run for one in undoable), default="")
        last = [one for one in undoable if one.entry.run == run]
        earlier = len(last) < len(undoable) or any(one.earlier for one in last)
        restored: list[Restored] = []
        for outcome in _restored(last, dry_run, disk):
            if isinstance(outcome, Restored):
                restored.append(outcome)
            else:
                problems.append(outcome)
    finally:
        records.close()
    return Undone(tuple(restored), tuple(problems), time_of(run) if run else "", earlier, dry_run)


def _restored(undoable: Iterable[_Undoable], dry_run: bool, disk: Disk) -> Iterator[Restored | LeftAlone]:
    folders: dict[Path, None] = {}
    try:
        with ended_like_ctrl_c():
            for name, path, stamp, backup, _, _ in undoable:
                try:
                    if not dry_run:
                        if stamp_of(path.stat()) != stamp:
                            yield LeftAlone(name, "another program is changing it: end that first")
                            continue
                        give_back(path, backup, disk=disk)
                        folders[path.parent] = None
                    yield Restored(name, str(Path(name).with_name(backup.name)))
                except (MachineError, OSError) as error:
                    yield LeftAlone(name, why(error) if isinstance(error, OSError) else str(error))
    finally:
        for folder in folders:
            disk.settle(folder)


def _undoable(name: str, path: Path, entries: Iterable[Entry], backups: _Backups) -> _Undoable | LeftAlone | None:
    """Return what can be undone of one recording; None if it was never rewritten, or is again what it was."""
    entries = tuple(entries)
    if not entries:
        return None
    try:
        stamp, now = stamp_of(path.stat()), digest(read_regular(path))
        kept = backups.of(path)
    except OSError as error:
        return LeftAlone(name, f"the file can't be read: {why(error)}")
    made = [entry for entry in entries if entry.after == now]
    for entry in reversed(made):
        if entry.before in kept:
            earlier = any(one.after == entry.before and one.before in kept for one in entries)
            return _Undoable(name, path, stamp, kept[entry.before], entry, earlier)
    if any(entry.before == now for entry in entries):
        return None
    if made:
        return LeftAlone(name, "its backup is gone or has changed, so it stays as it is")
    old = next((kept[entry.before].name for entry in reversed(entries) if entry.before in kept), "")
    hint = f"; the old file is {old}" if old else ""
    return LeftAlone(name, f"it has changed since it was rewritten, so it stays as it is{hint}")


class _Backups:
    """The backups in folders, by the recording that they belong to."""

    def __init__(self) -> None:
        self._folders: dict[Path, dict[str, list[tuple[int, Path]]]] = {}

    def of(self, path: Path) -> dict[str, Path]:
        """Return the backups of a recording by digest; of equal ones, the latest."""
        if path.parent not in self._folders:
            self._folders[path.parent] = self._look(path.parent)
        numbered = self._folders[path.parent].get(path.name, ())
        return {digest(read_regular(backup)): backup for _, backup in sorted(numbered)}

    @staticmethod
    def _look(folder: Path) -> dict[str, list[tuple[int, Path]]]:
        found: dict[str, list[tuple[int, Path]]] = {}
        for name in os.listdir(folder):
            if match := _BACKUP.fullmatch(name):
                found.setdefault(match[1], []).append((int(match[2] or 1), folder / name))
        return found


def in_words(undone: Undone) -> list[str]:
    """Return the lines of what was done; problems are left to others."""
    if not undone.restored:
        return (
            []
            if undone.problems
            else ["There is nothing to undo: no recording here is as a run with --in-place left it."]
        )
    verb = "would be restored to what it was" if undone.dry_run else "is restored to what it was"
    verbs = verb.replace("is restored", "are restored").replace("it was", "they were")
    files = len(undone.restored)
    lines = [f"{count(files, 'file')} {verb if files == 1 else verbs} before the run of {undone.run}:", ""]
    lines += [f"  {file} (from {os.path.basename(backup)})" for file, backup in undone.restored]
    if undone.earlier and not undone.dry_run:
        lines += ["", "There is an earlier run: the same command undoes it too."]
    return lines


def as_data(undone: Undone) -> dict[str, object]:
    """Return the same for a program."""
    return {
        "command": "rewrite",
        "ok": not undone.problems,
        "dry_run": undone.dry_run,
        "run": undone.run or None,
        "restored": [one._asdict() for one in undone.restored],
        "problems": [one._asdict() for one in undone.problems],
        "earlier": undone.earlier,
    }
