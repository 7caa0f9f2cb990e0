"""What of a take is due when: it is fed about a second ahead, and gives out what is due by now.

Times are nanoseconds that the caller brings. What comes too late is never hurried: by its own tempo the take goes on
from where it was.
"""

from __future__ import annotations

from collections import deque
from collections.abc import Iterable
from typing import Final

from rules.playback.held_values import HeldValues, SourceMessage
from rules.playback.positions import PARTS_A_CLOCK
from rules.playback.take_stream import Mark, Piece
from rules.timing.delays import NANOSECONDS_PER_SECOND, NEVER

MOST_WAITING: Final = 4_000
"""How many pieces may wait to be played."""
MOST_BYTES_WAITING: Final = 1_000_000
"""How many bytes their messages may have."""
_TOO_SILENT_NS: Final = 3 * NANOSECONDS_PER_SECOND
"""The silence after which the one who feeds is taken for gone, while more is to come."""
_GONE_NS: Final = 30 * NANOSECONDS_PER_SECOND
"""The same once all has come: then nothing is lost by waiting, and what is fed plays to its end."""


class Playback:
    """One take at a time, by its own tempo; or `by_clock`, moved on by `tick`.

    `mark` is the last one passed. `is_paused` holds it where it is; by a clock it begins so, until `go_on`.
    """

    def __init__(self, now: int, *, by_clock: bool = False) -> None:
        self.by_clock = by_clock
        self.is_paused = by_clock
        self.mark = Mark(0, 0.0)
        self.next_due = NEVER
        self.is_complete = False
        self.held = HeldValues()
        self._waiting: deque[Piece] = deque()
        self._bytes = 0
        self._until = 0  # the position up to which all is known
        self._begin: int | None = None  # when position 0 is, by its own tempo; None before anything has come
        self._paused_at = now
        self._heard_at = now
        self._clocks = -1  # how many clock messages have come since the first, and when the last one did
        self._clock_at = now
        self._clock_ns = 0

    # -- what is to come ----------------------------------------------------------------------------------------------

    @property
    def room(self) -> int:
        """How many pieces may be added."""
        return 0 if self._bytes >= MOST_BYTES_WAITING else MOST_WAITING - len(self._waiting)

    @property
    def has_moved(self) -> bool:
        """Whether a clock has moved it on from its beginning."""
        return self._clocks >= 0

    @property
    def has_begun(self) -> bool:
        """Whether any of it may have been played: it was fed, and a clock that it follows has come."""
        return self._begin is not None and (self.has_moved or not self.by_clock)

    @property
    def is_over(self) -> bool:
        """Whether all of it was played."""
        return self.is_complete and not self._waiting

    def add(self, pieces: Iterable[Piece], until: int, now: int, *, is_last: bool = False) -> None:
        """Add what follows, by position; all up to the position `until` is known now.

        Raises ValueError for more than there is room for, or what comes before what was added.
        """
        new = list(pieces)
        positions = [piece.position for piece in new]
        if len(new) > self.room or positions != sorted(positions) or (positions and positions[0] < self._until):
            raise ValueError("too much at once, or not in order")
        self.hear(now)
        if self._begin is None:
            self._begin = self._paused_at = now
        elif not self.by_clock and not self.is_paused:
            self._begin = max(self._begin, now - self._until)  # it ran dry: nothing that comes now is late
        self._waiting.extend(new)
        self._bytes += sum(len(piece.message) for piece in new)
        self._until = max(until, *positions, self._until) if positions else max(until, self._until)
        self.is_complete = is_last
        self._find_due()

    def hear(self, now: int) -> None:
        """The one who feeds is there."""
        self._heard_at = now

    def is_abandoned(self, now: int) -> bool:
        """Return whether the one who feeds has been silent for too long."""
        return now - self._heard_at > (_GONE_NS if self.is_complete else _TOO_SILENT_NS)

    def position(self, now: int) -> int:
        """Return where the take is."""
        if self.by_clock:
            return max(0, self._clocks) * PARTS_A_CLOCK
        if self._begin is None:
            return 0
        return max(0, (self._paused_at if self.is_paused else now) - self._begin)

    # -- what is due --------------------------------------------------------------------------------------------------

    def due(self, now: int, most: int) -> list[SourceMessage]:
        """Return the messages that are due by now, at most so many; the next ones are due at `next_due`."""
        found: list[SourceMessage] = []
        while self.next_due <= now and len(found) < most:
            piece = self._waiting.popleft()
            self._bytes -= len(piece.message)
            if piece.mark is not None:
                self.mark = piece.mark
            else:
                self.held.note(piece.source, piece.message)
                found.append((piece.source, piece.message))
            self._find_due()
        return found

    def _find_due(self) -> None:
        self.next_due = NEVER if self.is_paused or not self._waiting else self._due(self._waiting[0].position)

    def _due(self, position: int) -> int:
        if not self.by_clock:
            return NEVER if self._begin is None else self._begin + position
        clocks, part = divmod(position, PARTS_A_CLOCK)
        if clocks > self._clocks:
            return NEVER  # the clock message that it comes behind has not come
        if clocks < self._clocks:
            return self._clock_at
        return self._clock_at + part * self._clock_ns // PARTS_A_CLOCK

    def tick(self, at: int, clock_ns: int) -> None:
        """Take in a clock message that came at a time (ns); the next one is expected `clock_ns` later."""
        if not self.is_paused:
            self._clocks += 1
            self._clock_at = at
            self._clock_ns = clock_ns
            self._find_due()

    # -- pauses -------------------------------------------------------------------------------------------------------

    def pause(self, now: int) -> None:
        """Stay where it is."""
        if not self.is_paused:
            self.is_paused = True
            self._paused_at = now
            self._find_due()

    def go_on(self, now: int) -> list[SourceMessage]:
        """Go on from there; return what brings away from rest again what it holds so."""
        if not self.is_paused:
            return []
        self.is_paused = False
        if self._begin is not None:
            self._begin += now - self._paused_at
        self._find_due()
        return self.held.values

    def hold_up(self, span: int) -> None:
        """Nothing could be played for so long (ns): go on from where it was."""
        if self._begin is not None and not self.is_paused:
            self._begin += span
            self._find_due()
        self._heard_at += span
