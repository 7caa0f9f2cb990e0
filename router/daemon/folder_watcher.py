"""A thread that hears of changes in folders.

What is heard only says "look": network disks tell nothing, so one has to look from time to time in any case.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from threading import Event, Thread
from typing import Final

from router.daemon.watched_folders import Folders
from router.text.formatting import plain

_SHORTEST_PAUSE_S: Final = 2.0
_LONGEST_PAUSE_S: Final = 60.0


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
