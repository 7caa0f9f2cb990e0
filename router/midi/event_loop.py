"""The loop of everything that plays or listens: in one thread it takes what has arrived, does what is due, and waits.

The daemon, `record`, `listen`, `learn`, `soundcheck` and `send` run on it. How it waits depends on the system: see
`waiting`.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import Final

from router.files.clock import SYSTEM_CLOCK, Clock
from router.midi.waiting import PausingWaiter, Waiter

STALL_NS: Final = 1_000_000_000
"""A loop that turns so much later than it was to has stalled: the process was stopped, or the computer had no time for
it."""

MOST_AT_ONCE: Final = 32
"""So many messages of one input are taken before the next input has its turn."""


def nothing_arrives() -> bool:
    """Take nothing, for a loop that only sends."""
    return False


class EventLoop:
    """Turns until it is over.

    `take` takes what has arrived, and says whether anything had. `tend` gets the time (ns), does what is due by then,
    and says when to come again (ns, at most NEVER); it is called sooner after anything has arrived. `waiter` waits
    between two turns; without one the loop sleeps, for a shorter pause while music plays. `stalled` gets for how long
    (ns) the loop could not turn, before anything that has arrived meanwhile is taken.
    """

    def __init__(
        self,
        take: Callable[[], bool],
        tend: Callable[[int], int],
        clock: Clock = SYSTEM_CLOCK,
        *,
        waiter: Waiter | None = None,
        stalled: Callable[[int], None] | None = None,
    ) -> None:
        self._take = take
        self._tend = tend
        self._clock = clock
        self._waiter = waiter or PausingWaiter(clock)
        self._stalled = stalled
        self._turned_at = 0
        self._wake = 0

    def run(self, is_over: Callable[[], bool]) -> None:
        """Turn until `is_over`, which is asked before each turn.

        Where nothing wakes us, most turns find nothing, and there are thousands a second: those must cost next to
        nothing. So one turn is written out here, with what it calls in local names.
        """
        take, tend, now_ns, wait = self._take, self._tend, self._clock.now_ns, self._waiter.wait
        self._turned_at = now_ns()
        may_wait = 0
        while not is_over():
            now = now_ns()
            if now - self._turned_at - may_wait > STALL_NS and self._stalled is not None:
                self._stalled(now - self._turned_at)
            self._turned_at = now
            busy = take()
            if busy:
                self._wake = 0  # what came may have left something to do
            if now >= self._wake:
                self._wake = tend(now_ns())  # and may have taken its time
                now = now_ns()
            may_wait = max(0, self._wake - now)
            if wait(now, self._wake, busy):
                self._wake = 0

    def took_long(self) -> None:
        """Take what was done just now for no stall, however long it took."""
        self._turned_at = self._clock.now_ns()

    def tend_soon(self) -> None:
        """Have `tend` called in this turn, or the next: something may have become due."""
        self._wake = 0

    def wake(self) -> None:
        """Let the loop turn soon, if it waits. May be called from any thread, and by signal handlers."""
        self._waiter.wake()
