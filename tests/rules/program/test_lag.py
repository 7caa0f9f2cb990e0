"""How late messages are."""

from __future__ import annotations

from fractions import Fraction

from rules.program.lag import NO_LAG, Queue
from rules.timing.delays import Delay, steady_nanoseconds

LATER = steady_nanoseconds(120)
MS = Delay(ms=Fraction(1))
THIRD = Delay(beats=Fraction(1, 3))


def in_ms(now: int, delay: Delay) -> int:
    """Time in milliseconds."""
    return now + int(delay.ms)


def test_no_lag_is_now() -> None:
    """What isn't delayed is due when it comes."""
    assert NO_LAG.due(17, LATER) == 17


def test_delays_add_up_before_they_are_rounded() -> None:
    """Three thirds of a beat are one beat, to the nanosecond (ruling 29)."""
    assert NO_LAG.plus(THIRD).plus(THIRD).plus(THIRD).due(0, LATER) == 500_000_000


def test_a_message_waits_for_the_one_before() -> None:
    """In one queue under one name nothing overtakes; what it waited for counts in later delays as well."""
    queue: Queue = {("rule", 3): 40}
    lag = NO_LAG.queued(MS, queue, ("rule", 3), 10, in_ms)
    assert (lag.delay, lag.extra) == (MS, 29)
    assert lag.plus(MS).due(10, in_ms) == 41
    assert NO_LAG.queued(MS, queue, ("rule", 4), 10, in_ms).due(10, in_ms) == 11


def test_what_goes_nowhere_holds_up_nothing() -> None:
    """A message is in the queue when it has joined, and only what goes out does."""
    queue: Queue = {}
    lag = NO_LAG.queued(MS, queue, ("rule", 3), 10, in_ms)
    assert queue == {}
    lag.join(10, in_ms)
    assert queue == {("rule", 3): 11}


def test_a_note_off_joins_the_queue_with_the_lag_of_its_note_on() -> None:
    """It comes as late as the note-on did, however short the queue is by then, and earlier times change nothing."""
    queue: Queue = {("rule", 3): 40}
    lag = NO_LAG.queued(MS, queue, ("rule", 3), 10, in_ms).plus(MS)
    lag.join(5, in_ms)
    assert queue == {("rule", 3): 40}
    lag.join(100, in_ms)
    assert queue == {("rule", 3): 130}
    assert lag.due(100, in_ms) == 131


def test_the_same_delays_anew_wait_only_for_what_is_there_now() -> None:
    """A value that comes to rest takes the way of the one before it, but doesn't wait as long as that one had to."""
    queue: Queue = {("rule", 3): 40}
    lag = NO_LAG.queued(MS, queue, ("rule", 3), 10, in_ms).plus(MS)
    assert lag.anew(100, in_ms).due(100, in_ms) == 102
    assert queue == {("rule", 3): 40}
