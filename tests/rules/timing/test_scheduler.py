"""What is due when."""

from __future__ import annotations

from hypothesis import given
from hypothesis import strategies as st

from rules.timing.delays import NEVER
from rules.timing.scheduler import Scheduler


def popped(scheduler: Scheduler[int]) -> list[tuple[int, int]]:
    """All that is left, as (due, number), in the order it comes out."""
    found = []
    while scheduler.next_due < NEVER:
        due, _, number = scheduler.pop()
        found.append((due, number))
    return found


@given(st.lists(st.integers(0, 5)))
def test_entries_come_by_time_and_then_by_age(dues: list[int]) -> None:
    """The earliest comes first; of one time, the one that was put in first."""
    scheduler: Scheduler[int] = Scheduler()
    for number, due in enumerate(dues):
        scheduler.add(due, number)
        assert scheduler.next_due == min(dues[: number + 1])
    assert popped(scheduler) == sorted((due, number) for number, due in enumerate(dues))


def test_an_empty_agenda_is_never_due() -> None:
    """There is nothing to wait for before the first entry and after the last."""
    scheduler: Scheduler[int] = Scheduler()
    assert scheduler.next_due == NEVER
    scheduler.add(3, 0)
    scheduler.pop()
    assert scheduler.next_due == NEVER


@given(st.lists(st.integers(0, 5), max_size=12), st.integers(1, 4))
def test_what_is_taken_out_leaves_the_rest_in_order(dues: list[int], step: int) -> None:
    """Entries that are asked for come out, in order; the others keep their times and their order."""
    scheduler: Scheduler[int] = Scheduler()
    for number, due in enumerate(dues):
        scheduler.add(due, number)

    in_order = sorted((due, number) for number, due in enumerate(dues))
    taken = scheduler.take(lambda number: number % step == 0)
    assert taken == [number for _, number in in_order if number % step == 0]
    assert popped(scheduler) == [(due, number) for due, number in in_order if number % step]


def test_of_one_time_the_older_origin_comes_first() -> None:
    """What took its place in the order before it was put in comes before what was put in meanwhile."""
    scheduler: Scheduler[int] = Scheduler()
    origin = scheduler.origin()
    scheduler.add(5, 1)
    scheduler.add(5, 2, origin)
    assert popped(scheduler) == [(5, 2), (5, 1)]


@given(st.lists(st.integers(0, 5), max_size=12), st.sets(st.integers(0, 11)))
def test_what_is_cancelled_never_comes(dues: list[int], cancelled: set[int]) -> None:
    """The next due time is that of the next entry that still counts; nothing is taken out that was cancelled."""
    scheduler: Scheduler[int] = Scheduler()
    serials = [scheduler.add(due, number) for number, due in enumerate(dues)]
    for number in cancelled & set(range(len(dues))):
        scheduler.cancel(serials[number])
    left = sorted((due, number) for number, due in enumerate(dues) if number not in cancelled)
    assert scheduler.next_due == (left[0][0] if left else NEVER)
    assert scheduler.take(lambda number: number == 0) == [number for _, number in left if number == 0]
    assert popped(scheduler) == [(due, number) for due, number in left if number]


def test_thousands_are_cancelled_and_the_rest_comes_in_order() -> None:
    """Cancelled entries don't pile up before those that stay, which are found as before."""
    scheduler: Scheduler[int] = Scheduler()
    serials = [scheduler.add(5_000 - number, number) for number in range(5_000)]
    for number, serial in enumerate(serials):
        if number % 10:
            scheduler.cancel(serial)
    assert len(scheduler) == 500
    assert [scheduler.pop()[2] for _ in range(500)] == list(range(4_990, -1, -10))
    assert scheduler.next_due == NEVER


def test_what_is_pending_can_be_looked_at() -> None:
    """All but what was cancelled, and it stays."""
    scheduler: Scheduler[int] = Scheduler()
    scheduler.add(5, 1)
    scheduler.cancel(scheduler.add(7, 2))
    scheduler.add(6, 3)
    assert sorted(scheduler) == [1, 3]
    assert popped(scheduler) == [(5, 1), (6, 3)]


@given(st.lists(st.tuples(st.integers(0, 5), st.integers(0, 5)), max_size=12), st.sets(st.integers(0, 11)))
def test_entries_get_other_times(dues: list[tuple[int, int]], cancelled: set[int]) -> None:
    """They are asked for in the order of their old times, and come by the new ones; of one time the oldest first.

    What was cancelled isn't asked for, and can be cancelled before and after.
    """
    scheduler: Scheduler[int] = Scheduler()
    serials = [scheduler.add(due, number) for number, (due, _) in enumerate(dues)]
    before = sorted(cancelled & set(range(len(dues))))
    for number in before[:-1]:
        scheduler.cancel(serials[number])
    asked: list[tuple[int, int]] = []

    def new_due(due: int, number: int) -> int:
        asked.append((due, number))
        return dues[number][1]

    scheduler.move(new_due)
    there = [number for number in range(len(dues)) if number not in before[:-1]]
    assert asked == sorted((dues[number][0], number) for number in there)
    for number in before[-1:]:
        scheduler.cancel(serials[number])
    left = sorted((dues[number][1], number) for number in there if number not in before[-1:])
    assert scheduler.next_due == (left[0][0] if left else NEVER)
    assert popped(scheduler) == left
