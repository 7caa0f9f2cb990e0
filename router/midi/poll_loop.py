"""The loop that polls: in one thread it takes what has arrived, does what is due, and waits for a moment.

The daemon, `record`, `listen`, `learn`, `soundcheck` and `send` run on it. python-rtmidi can't be asked to wake us but
by a callback, which loses messages (see `backend`), so the loop sleeps between two looks. A system that can wake us
gives a `wait` of its own.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import Final

from router.files.clock import SYSTEM_CLOCK, Clock

BUSY_PAUSE_NS: Final = 150_000
"""How long the loop sleeps between two looks while music plays. Each waking takes about 13 microseconds of the
processor, whatever it finds: this is a tenth of a core, and a message waits for half of it."""

IDLE_PAUSE_NS: Final = 2_000_000
"""The same after a silence of `STAYS_BUSY_NS`: no computer need be warm for that."""

STAYS_BUSY_NS: Final = 3_000_000_000

PORT_SCAN_EVERY_NS: Final = 250_000_000
"""How often ports are looked for that have come or gone."""

STALL_NS: Final = 1_000_000_000
"""The loop looks thousands of times a second: what keeps it from looking for so long is a stall. The process was
stopped, or the computer had no time for it."""

MOST_AT_ONCE: Final = 32
"""So many messages of one input are taken before the next input has its turn."""


def nothing_arrives() -> bool:
    """Poll nothing, for a loop that only sends."""
    return False


class PollLoop:
    """Turns until it is over.

    `poll` takes what has arrived, and says whether anything had. `tend` gets the time (ns), does what is due by then,
    and says when to come again (ns); it is called sooner after anything has arrived. `wait` returns once something may
    have arrived, after at most so many ns; without one the loop sleeps, for a shorter pause while music plays.
    `stalled` gets for how long (ns) the loop could not turn, before anything that has arrived meanwhile is taken.
    """

    def __init__(
        self,
        poll: Callable[[], bool],
        tend: Callable[[int], int],
        clock: Clock = SYSTEM_CLOCK,
        *,
        wait: Callable[[int], None] | None = None,
        stalled: Callable[[int], None] | None = None,
        idle_pause_ns: int = IDLE_PAUSE_NS,
    ) -> None:
        self._poll = poll
        self._tend = tend
        self._clock = clock
        self._wait = wait
        self._stalled = stalled
        self._turned_at = 0
        self._idle_pause_ns = idle_pause_ns
        self._busy_until = 0
        self._wake = 0

    def run(self, is_over: Callable[[], bool]) -> None:
        """Turn until `is_over`, which is asked before each turn.

        Most turns find nothing, and there are thousands a second: those must cost next to nothing. So one turn is
        written out here, with what it calls in local names.
        """
        poll, tend, now_ns, sleep_s, wait = self._poll, self._tend, self._clock.now_ns, self._clock.sleep_s, self._wait
        self._turned_at = now_ns()
        while not is_over():
            now = now_ns()
            if now - self._turned_at > STALL_NS and self._stalled is not None:
                self._stalled(now - self._turned_at)
            self._turned_at = now
            if poll():
                now = now_ns()
                self._busy_until = now + STAYS_BUSY_NS
                self._wake = 0  # what came may have left something to do
            if now >= self._wake:
                self._wake = tend(now)
                now = now_ns()
            at_most = self._wake - now
            if at_most <= 0:
                continue
            if wait is not None:
                wait(at_most)
                continue
            pause = BUSY_PAUSE_NS if now < self._busy_until else self._idle_pause_ns
            sleep_s(min(pause, at_most) / 1e9)

    def took_long(self) -> None:
        """Take what was done just now for no stall, however long it took."""
        self._turned_at = self._clock.now_ns()

    def tend_soon(self) -> None:
        """Have `tend` called in this turn, or the next: something may have become due."""
        self._wake = 0
