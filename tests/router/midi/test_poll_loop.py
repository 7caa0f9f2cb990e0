"""The loop that polls, in a time that passes only while it waits."""

from __future__ import annotations

from collections.abc import Callable

from router.midi.poll_loop import BUSY_PAUSE_NS, IDLE_PAUSE_NS, STAYS_BUSY_NS, PollLoop, nothing_arrives
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
    loop = PollLoop(lambda: bool(waiting) and waiting.pop(), lambda now: NEVER, time.clock)
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

    PollLoop(nothing_arrives, tend, time.clock).run(until(time, 0.005))
    assert tended == [0, 1_234_567, 2_469_134, 3_703_701, 4_938_268]


def test_what_arrives_is_followed_by_tending() -> None:
    """It may have left something to do; and so may whoever says so."""
    time = FakeClock(0)
    tended: list[int] = []
    polled: list[int] = []

    def poll() -> bool:
        polled.append(time.now)
        if len(polled) == 3:
            return True
        if len(polled) == 5:
            loop.tend_soon()
        return False

    def tend(now: int) -> int:
        tended.append(now)
        return NEVER

    loop = PollLoop(poll, tend, time.clock)
    loop.run(lambda: len(polled) == 6)
    assert tended == [polled[0], polled[2], polled[4]]


def test_a_system_that_wakes_us_is_waited_for() -> None:
    """Until something is due, at most: it needs no pauses, and nobody sleeps."""
    time = FakeClock(0)
    waited: list[int] = []

    def wait(at_most_ns: int) -> None:
        waited.append(at_most_ns)
        time.now += at_most_ns

    PollLoop(nothing_arrives, lambda now: now + SECOND_NS, time.clock, wait=wait).run(lambda: len(waited) == 3)
    assert (waited, time.slept) == ([SECOND_NS] * 3, [])
