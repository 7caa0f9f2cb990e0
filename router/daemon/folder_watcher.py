"""Where rule files can change, and a thread that hears of it.

Folders are watched, never files: a file that is saved by renaming another over it is a new one, and the watch on the
old one hears nothing any more. What is heard only says "look": network disks tell nothing, so a watcher has to
look from time to time in any case.
"""

from __future__ import annotations

import os
from collections.abc import Callable, Iterator, Sequence
from pathlib import Path
from threading import Event, Thread
from typing import Final

from router.files.file_names import is_rule_name
from router.text.formatting import plain

Folders = frozenset[tuple[str, int, int]]
"""Paths of folders, each with device and inode: a folder that was made again is another one under the old name."""

_MOST_LINKS: Final = 40  # as many as Linux follows, path_resolution(7)
_SHORTEST_PAUSE_S: Final = 2.0
_LONGEST_PAUSE_S: Final = 60.0


def watched_folders(arguments: Sequence[str]) -> Folders:
    """The folders in which a change can concern the rule files that `arguments` mean, those behind links included.

    For a folder among the arguments that is itself, and the one that it lies in: it may be deleted and made again.
    """
    found: dict[str, None] = {}
    for argument in arguments:
        path = Path(os.path.abspath(argument))
        for one in (path, *_rule_files(path)):
            found.update(dict.fromkeys(str(folder) for folder in _folders_of(one)))
        if path.is_dir():
            found[str(path)] = None
    return frozenset(entry for folder in found if (entry := _known(folder)) is not None)


def _rule_files(folder: Path) -> list[Path]:
    try:
        return [Path(entry.path) for entry in os.scandir(folder) if is_rule_name(entry.name)]
    except OSError:
        return []


def _folders_of(path: Path) -> Iterator[Path]:
    """The folder of a path, and of each link on the way to what the path means in the end."""
    for _ in range(_MOST_LINKS):
        yield path.parent
        link = next((part for part in (path, *path.parents) if part.is_symlink()), None)
        if link is None:
            return
        yield link.parent
        try:
            target = os.readlink(link)
        except OSError:
            return
        path = Path(os.path.normpath(link.parent / target / path.relative_to(link)))


def _known(folder: str) -> tuple[str, int, int] | None:
    try:
        stat = os.stat(folder)
    except OSError:
        return None
    return folder, stat.st_dev, stat.st_ino


class Watcher:
    """Calls `changed` when something happens in one of the folders, and sometimes when nothing has.

    Nobody must rely on being called: some disks tell nothing. What stands in its way it says once, and goes on trying.
    """

    def __init__(self, changed: Callable[[], None], say: Callable[[str], None]) -> None:
        self._changed = changed
        self._say = say
        self._folders: Folders = frozenset()
        self._again = Event()
        self._stopping = False
        self._said: set[str] = set()
        self._pause = _SHORTEST_PAUSE_S
        self._thread = Thread(target=self._work, name="watcher", daemon=True)

    def start(self) -> None:
        """Begin to watch."""
        self._thread.start()

    def stop(self) -> None:
        """End the thread."""
        self._stopping = True
        self._again.set()
        if self._thread.is_alive():
            self._thread.join()

    @property
    def is_alive(self) -> bool:
        """Whether the thread runs."""
        return self._thread.is_alive()

    def watch(self, folders: Folders) -> bool:
        """Watch these folders from now on; whether they are others than before.

        It takes a moment until the watch stands: what happens until then isn't heard.
        """
        if folders == self._folders:
            return False
        self._folders = folders
        self._again.set()
        return True

    def _work(self) -> None:
        while True:
            self._again.clear()
            if self._stopping:  # asked after the clearing, which may have wiped out the sign to stop
                return
            try:
                self._watch([folder for folder, _, _ in sorted(self._folders)])
            except BaseException as error:  # a panic in the library is no Exception
                self._complain(error)
            if not self._again.wait(self._pause):
                self._pause = min(self._pause * 2, _LONGEST_PAUSE_S)

    def _watch(self, folders: Sequence[str]) -> None:
        """Listen until other folders are wanted, or it must end."""
        if not folders:
            self._again.wait()
            return
        from watchfiles import watch

        for _ in watch(
            *folders,
            watch_filter=None,  # the usual one hides what is saved beside the name of a tool's own folder
            debounce=200,
            step=500,  # milliseconds between two wakings of this thread; a change comes within two steps
            rust_timeout=0,
            stop_event=self._again,
            recursive=False,
            raise_interrupt=False,
            force_polling=False,
            ignore_permission_denied=True,
            debug=False,
        ):
            self._pause = _SHORTEST_PAUSE_S
            self._changed()

    def _complain(self, error: BaseException) -> None:
        text = plain(str(error) or type(error).__name__)
        if text not in self._said:
            self._said.add(text)
            self._say(f"the folders of the rule files can't be watched ({text}): changes are noticed every 2 seconds")
