"""The folders in which rule files can change.

Folders are watched, never files: a file that is saved by renaming another over it is a new one, and the watch on the
old one hears nothing any more. They are looked for every two seconds, music or not: by names alone, which costs least.
"""

from __future__ import annotations

import os
from collections.abc import Iterator, Sequence
from typing import Final

from router.files.file_names import is_rule_name

Folders = frozenset[tuple[str, int, int]]
"""Paths of folders, each with device and inode: a folder that was made again is another one under the old name."""

_MOST_LINKS: Final = 40  # as many as Linux follows, path_resolution(7)


def watched_folders(arguments: Sequence[str]) -> Folders:
    """The folders in which a change can concern the rule files that `arguments` mean, those behind links included.

    For a folder among the arguments that is itself, and the one that it is in: it may be deleted and made again.
    """
    found: dict[str, None] = {}
    for argument in arguments:
        path = os.path.abspath(argument)
        for one in (path, *_rule_files(path)):
            found.update(dict.fromkeys(_folders_of(one)))
        if os.path.isdir(path):
            found[path] = None
    return frozenset(entry for folder in found if (entry := _known(folder)) is not None)


def _rule_files(folder: str) -> list[str]:
    try:
        return [entry.path for entry in os.scandir(folder) if is_rule_name(entry.name)]
    except OSError:
        return []


def _folders_of(path: str) -> Iterator[str]:
    """The folder of a path, and of each link on the way to what the path means in the end."""
    for _ in range(_MOST_LINKS):
        yield os.path.dirname(path)
        link = _last_link(path)
        if link is None:
            return
        yield os.path.dirname(link)
        try:
            target = os.readlink(link)
        except OSError:
            return
        path = os.path.normpath(os.path.join(os.path.dirname(link), target) + path.removeprefix(link))


def _last_link(path: str) -> str | None:
    """The path up to its last part that is a link; None where none is."""
    parent = os.path.dirname(path)
    while parent != path:
        if os.path.islink(path):
            return path
        path, parent = parent, os.path.dirname(parent)
    return None


def _known(folder: str) -> tuple[str, int, int] | None:
    try:
        stat = os.stat(folder)
    except OSError:
        return None
    return folder, stat.st_dev, stat.st_ino
