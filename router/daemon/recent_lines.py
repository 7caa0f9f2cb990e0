"""The last lines of the daemon's log, for those who watch it."""

from __future__ import annotations

from collections import deque
from collections.abc import Callable
from typing import Final, NamedTuple

from router.files.clock import SYSTEM_CLOCK, Clock

_MOST_LINES: Final = 200
_LONGEST_LINE: Final = 1_000


class LogLine(NamedTuple):
    """A line of the log, and when it was said (seconds since 1970)."""

    at: float
    text: str


class RecentLines:
    """Passes lines on to the log, and remembers the last 200. Any thread may say one; none ever waits."""

    def __init__(self, say: Callable[[str], None], clock: Clock = SYSTEM_CLOCK) -> None:
        self._say = say
        self._clock = clock
        self._lines: deque[LogLine] = deque(maxlen=_MOST_LINES)

    def say(self, text: str) -> None:
        """Say a line."""
        self._lines.append(LogLine(self._clock.wall_s(), text[:_LONGEST_LINE]))
        self._say(text)

    def after(self, last: LogLine | None) -> list[LogLine]:
        """Return the lines behind one that was returned before; all that are remembered where it isn't among them."""
        lines = list(self._lines.copy())
        known = next((at for at, line in enumerate(lines) if line is last), -1)
        return lines[known + 1 :]
