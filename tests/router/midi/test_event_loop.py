"""The loop, in a time that passes only while it waits."""

from __future__ import annotations

from collections.abc import Callable

from router.midi.event_loop import STALL_NS, EventLoop, nothing_arrives
from router.midi.waiting import BUSY_PAUSE_NS, IDLE_PAUSE_NS, STAYS_BUSY_NS
from rules.timing.delays import NEVER
from tests.support.fake_clock import SECOND_NS, FakeClock


def until(time: FakeClock, seconds: float) -> Callable[[], bool]:
    """It is over after so many seconds."""
    end = time.now + seconds * SECOND_NS
    return lambda: time.now >= end


def test_it_sleeps_shortly_while_something_arrives_and_longer_in_silence() -> None:
    """For three seconds after the last message; tending is none of its business then."""
    time = FakeClock()
    waiting = [True]
    loop = EventLoop(lambda: bool(waiting) and waiting.pop(), lambda now: NEVER, time.clock)
    loop.run(until(time, 4))
    pauses = [round(slept * SECOND_NS) for slept in time.slept]
    assert pauses[0] == BUSY_PAUSE_NS
    assert pauses[-1] == IDLE_PAUSE_NS
    assert pauses.count(BUSY_PAUSE_NS) == STAYS_BUSY_NS // BUSY_PAUSE_NS


def test_what_is_due_is_tended_when_it_is_due() -> None:
    """Not a moment later, however long the pauses are; and never before."""
    time = FakeClock(0)
    tended: list[int] = []

    def tend(now: int) -> int:
        tended.append(now)
        return now + 1_234_567

    EventLoop(nothing_arrives, tend, time.clock).run(until(time, 0.005))
    assert tended == [0, 1_234_567, 2_469_134, 3_703_701, 4_938_268]


def test_what_arrives_is_followed_by_tending() -> None:
    """It may have left something to do; and so may whoever says so."""
    time = FakeClock(0)
    tended: list[int] = []
    taken: list[int] = []

    def take() -> bool:
        taken.append(time.now)
        if len(taken) == 3:
            return True
        if len(taken) == 5:
            loop.tend_soon()
        return False

    def tend(now: int) -> int:
        tended.append(now)
        return NEVER

    loop = EventLoop(take, tend, time.clock)
    loop.run(lambda: len(taken) == 6)
    assert tended == [taken[0], taken[2], taken[4]]


class FakeWaiter:
    """A system that wakes the loop: each wait takes as long as `takes` says (ns), and ends as `happens` says."""

    def __init__(self, time: FakeClock, takes: Callable[[int], int], happens: bool) -> None:
        self.waited: list[tuple[int, bool]] = []
        self.woken = 0
        self._time = time
        self._takes = takes
        self._happens = happens

    def wait(self, now: int, until: int, busy: bool) -> bool:
        """Let time pass."""
        self.waited.append((until, busy))
        self._time.now += self._takes(max(0, until - now))
        return self._happens

    def wake(self) -> None:
        """Count."""
        self.woken += 1


def test_a_system_that_wakes_us_is_waited_for_until_something_is_due() -> None:
    """It needs no pauses, and nobody sleeps."""
    time = FakeClock(0)
    waiter = FakeWaiter(time, lambda at_most: at_most, happens=False)
    arrived = iter([False, True, False])
    loop = EventLoop(lambda: next(arrived), lambda now: now + SECOND_NS, time.clock, waiter=waiter)
    loop.run(lambda: len(waiter.waited) == 3)
    assert (waiter.waited, time.slept) == ([(SECOND_NS, False), (2 * SECOND_NS, True), (3 * SECOND_NS, False)], [])


def test_whatever_wakes_the_loop_is_followed_by_tending() -> None:
    """A port that came is met at once, and not at the next look around."""
    time = FakeClock(0)
    waiter = FakeWaiter(time, lambda at_most: 5, happens=True)
    tended: list[int] = []

    def tend(now: int) -> int:
        tended.append(now)
        return now + SECOND_NS

    EventLoop(nothing_arrives, tend, time.clock, waiter=waiter).run(lambda: len(tended) == 3)
    assert tended == [0, 5, 10]


def test_other_threads_wake_the_loop() -> None:
    """By its waiter."""
    waiter = FakeWaiter(FakeClock(), lambda at_most: at_most, happens=True)
    EventLoop(nothing_arrives, lambda now: NEVER, waiter=waiter).wake()
    assert waiter.woken == 1


def test_a_loop_that_waits_for_long_has_not_stalled_and_one_that_is_late_has() -> None:
    """What it was allowed to wait doesn't count."""
    time = FakeClock(0)
    late = iter([0, STALL_NS + 1, 0])
    waiter = FakeWaiter(time, lambda at_most: at_most + next(late), happens=False)
    stalls: list[int] = []
    loop = EventLoop(
        nothing_arrives, lambda now: now + 10 * SECOND_NS, time.clock, waiter=waiter, stalled=stalls.append
    )
    loop.run(lambda: len(waiter.waited) == 3)
    assert stalls == [11 * SECOND_NS + 1]
