"""How a loop waits until something arrives: woken by the system where that can, else by looking again and again.

python-rtmidi can't be asked to wake us but by a callback, which loses messages (see `backend`).
"""

from __future__ import annotations

import os
import select
from collections.abc import Callable
from typing import Final, Protocol

from router.files.clock import SYSTEM_CLOCK, Clock
from router.midi.backend import Backend
from router.midi.timer_descriptor import TimerDescriptor
from rules.timing.delays import NEVER

BUSY_PAUSE_NS: Final = 150_000
"""How long from one look to the next while music plays. Each waking takes about 13 microseconds of the processor,
whatever it finds: this is a tenth of a core, and a message waits for half of it."""

IDLE_PAUSE_NS: Final = 2_000_000
"""The same after a silence of `STAYS_BUSY_NS`: no computer need be warm for that."""

STAYS_BUSY_NS: Final = 3_000_000_000


class Waiter(Protocol):
    """What a loop waits with, in its own thread."""

    def wait(self, now: int, until: int, busy: bool) -> bool:
        """Return once something may have arrived, somebody has called `wake`, or it is `until` (ns); it is `now`.

        `busy` tells that something had arrived in this turn, so that more may wait to be taken. True: something has
        happened that may have left something to do.
        """

    def wake(self) -> None:
        """Let `wait` return soon. May be called from any thread, and by signal handlers."""


class PausingWaiter:
    """Sleeps for a short pause while music plays, and for `idle_pause_ns` in silence. Nothing need wake it."""

    def __init__(self, clock: Clock = SYSTEM_CLOCK, idle_pause_ns: int = IDLE_PAUSE_NS) -> None:
        self._sleep_s = clock.sleep_s
        self._now_ns = clock.now_ns
        self._idle_pause_ns = idle_pause_ns
        self._busy_until = 0
        self._looked_at = clock.now_ns()

    def wait(self, now: int, until: int, busy: bool) -> bool:
        """Sleep until the next look. Thousands a second find nothing: it must cost next to nothing.

        What the look itself took counts, since a message waits for that as well; half of the pause is left in any case.
        """
        if busy:
            self._busy_until = now + STAYS_BUSY_NS
        if until > now:
            pause = BUSY_PAUSE_NS if now < self._busy_until else self._idle_pause_ns
            rest = max(pause - (now - self._looked_at), pause >> 1)
            self._sleep_s(min(rest, until - now) / 1e9)
            self._looked_at = self._now_ns()
        return False

    def wake(self) -> None:
        """Do nothing: the next look is due in a moment."""


class WokenWaiter:
    """Sleeps until `descriptor` becomes readable, and has `receive` take in what waits there. For Linux."""

    def __init__(self, descriptor: int, receive: Callable[[], bool]) -> None:
        self._descriptor = descriptor
        self._receive = receive
        self._bell = os.eventfd(0, os.EFD_CLOEXEC | os.EFD_NONBLOCK)
        self._timer = TimerDescriptor()
        self._epoll = select.epoll()
        for one in (descriptor, self._bell, self._timer.descriptor):
            self._epoll.register(one, select.EPOLLIN)

    def wait(self, now: int, until: int, busy: bool) -> bool:
        """Sleep until something happens; the timer ends that to the microsecond, where timeouts of `poll` are late."""
        if busy or until <= now:
            ready = self._epoll.poll(0)
        else:
            self._timer.set(until)
            ready = self._epoll.poll()
        happened = False
        for descriptor, _ in ready:
            if descriptor == self._descriptor:
                happened = self._receive() or happened
            elif descriptor == self._bell:
                os.eventfd_read(self._bell)
                happened = True
            else:
                self._timer.set(NEVER)
        return happened

    def wake(self) -> None:
        """Ring the bell."""
        os.eventfd_write(self._bell, 1)

    def __del__(self) -> None:
        """Give the bell back once nobody can ring it any more: other threads may, for longer than the loop runs."""
        os.close(self._bell)


def waiter_for(backend: Backend, clock: Clock = SYSTEM_CLOCK, idle_pause_ns: int = IDLE_PAUSE_NS) -> Waiter:
    """What a loop on this system waits with; where nothing wakes it, it looks by the `clock`."""
    if backend.descriptor is None:
        return PausingWaiter(clock, idle_pause_ns)
    return WokenWaiter(backend.descriptor, backend.receive)
