"""What a loop waits with. Nothing is timed: what isn't woken hangs."""

from __future__ import annotations

import os
import sys
import threading
from collections.abc import Iterator

import pytest

from router.files.clock import SYSTEM_CLOCK
from router.midi.waiting import PausingWaiter, WokenWaiter, waiter_for
from rules.timing.delays import NEVER
from tests.support.fake_clock import SECOND_NS, FakeClock
from tests.support.fake_midi_system import FakeBackend, Hub

pytestmark = pytest.mark.skipif(sys.platform != "linux", reason="nothing can be waited for elsewhere")


class System:
    """A MIDI system that can be waited for; `arrive` lets something arrive, of which it takes in all at once."""

    def __init__(self) -> None:
        self.descriptor = os.eventfd(0, os.EFD_NONBLOCK)
        self.taken: list[int] = []
        self.is_ours = True

    def arrive(self) -> None:
        """Something arrives."""
        os.eventfd_write(self.descriptor, 1)

    def receive(self) -> bool:
        """Take all in."""
        self.taken.append(os.eventfd_read(self.descriptor))
        return self.is_ours


@pytest.fixture
def system() -> Iterator[System]:
    """A system, whose descriptor is closed in the end."""
    made = System()
    yield made
    os.close(made.descriptor)


@pytest.fixture
def waiter(system: System) -> WokenWaiter:
    """What waits for it."""
    return WokenWaiter(system.descriptor, system.receive)


def test_what_arrives_ends_the_wait_and_is_taken_in(system: System, waiter: WokenWaiter) -> None:
    """However much arrived."""
    system.arrive()
    system.arrive()
    assert waiter.wait(0, NEVER, False)
    assert system.taken == [2]


def test_what_is_none_of_ours_leaves_nothing_to_do(system: System, waiter: WokenWaiter) -> None:
    """It is taken in all the same, so that it wakes us once."""
    system.is_ours = False
    system.arrive()
    assert not waiter.wait(0, NEVER, False)
    assert system.taken == [1]


def test_another_thread_ends_the_wait(waiter: WokenWaiter) -> None:
    """Once for all that rang meanwhile."""
    thread = threading.Thread(target=waiter.wake)
    thread.start()
    assert waiter.wait(0, NEVER, False)
    thread.join()
    waiter.wake()
    waiter.wake()
    assert waiter.wait(0, NEVER, False)
    assert not waiter.wait(0, 0, False)


def test_the_wait_ends_when_something_is_due(waiter: WokenWaiter) -> None:
    """Not a nanosecond before; and a timer that has ended one wait doesn't end the next."""
    for _ in range(2):
        due = SYSTEM_CLOCK.now_ns() + 2_000_000
        assert not waiter.wait(SYSTEM_CLOCK.now_ns(), due, False)
        assert SYSTEM_CLOCK.now_ns() >= due
    waiter.wake()
    assert waiter.wait(SYSTEM_CLOCK.now_ns(), NEVER, False)


def test_where_more_may_wait_to_be_taken_nobody_sleeps(system: System, waiter: WokenWaiter) -> None:
    """But what has arrived meanwhile is taken in."""
    assert not waiter.wait(0, NEVER, True)
    system.arrive()
    assert waiter.wait(0, NEVER, True)
    assert system.taken == [1]


def test_what_can_t_wake_us_is_looked_at_after_a_pause() -> None:
    """It has no descriptor. Nobody sleeps beyond what is due, or when it is due already."""
    time = FakeClock(0)
    waiter = waiter_for(FakeBackend(Hub()), time.clock, idle_pause_ns=SECOND_NS)
    assert isinstance(waiter, PausingWaiter)
    for until in (NEVER, time.now + SECOND_NS + 250_000_000, time.now):
        assert not waiter.wait(time.now, until, False)
    assert time.slept == [1.0, 0.25]


def test_what_a_look_takes_counts_as_a_part_of_the_pause() -> None:
    """A half of it is left in any case, for others who need the processor."""
    time = FakeClock(0)
    waiter = PausingWaiter(time.clock, idle_pause_ns=SECOND_NS)
    for took in (0.25, 0.75, 0):
        time.now += round(took * SECOND_NS)
        waiter.wait(time.now, NEVER, False)
    assert time.slept == [0.75, 0.5, 1.0]


def test_what_can_wake_us_is_waited_for(system: System) -> None:
    """It has a descriptor."""
    backend = FakeBackend(Hub())
    backend.descriptor = system.descriptor
    assert isinstance(waiter_for(backend), WokenWaiter)
