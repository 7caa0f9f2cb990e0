"""What a daemon says while it plays: lines on standard error, from a thread of its own.

A terminal that someone has stopped, or a full disk behind a log, blocks the thread that writes to it. That must not be
the one that plays.
"""

from __future__ import annotations

import contextlib
import os
import sys
from queue import SimpleQueue
from threading import Thread
from typing import Final

from router.files.clock import SYSTEM_CLOCK, Clock, local_time
from router.text.formatting import plain

_MOST_WAITING: Final = 1_000


class LogThread:
    """Says lines in order, each with the time of day at which it was said, unless a journal adds that.

    What can't be said, since a thousand lines wait already, is left unsaid.
    """

    def __init__(self, clock: Clock = SYSTEM_CLOCK) -> None:
        self._clock = clock
        self._has_times = not _goes_to_journal()
        self._lines: SimpleQueue[str | None] = SimpleQueue()
        self._thread = Thread(target=self._work, name="announcer", daemon=True)
        self._thread.start()

    def say(self, text: str) -> None:
        """Say a line; never waits."""
        if self._lines.qsize() < _MOST_WAITING:
            self._lines.put(f"{local_time(self._clock.wall_s(), '%H:%M:%S')}  {text}" if self._has_times else text)

    def stop(self, patience_s: float = 1.0) -> bool:
        """Say what waits, at most so long (seconds); whether all was said."""
        self._lines.put(None)
        self._thread.join(patience_s)
        return not self._thread.is_alive()

    def _work(self) -> None:
        while (line := self._lines.get()) is not None:
            # no one may be reading any more: the music goes on
            with contextlib.suppress(OSError, ValueError):
                print(plain(line), file=sys.stderr, flush=True)


def _goes_to_journal() -> bool:
    """Return whether standard error is a journal, which notes the time itself: JOURNAL_STREAM of systemd.exec(5)."""
    try:
        stream = os.fstat(sys.stderr.fileno())
    except (OSError, ValueError, AttributeError):  # it is closed, or no file
        return False
    return os.environ.get("JOURNAL_STREAM") == f"{stream.st_dev}:{stream.st_ino}"
