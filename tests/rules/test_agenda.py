"""What is due when."""

from __future__ import annotations

from hypothesis import given
from hypothesis import strategies as st

from rules.agenda import NEVER, Agenda, CallBack, Entry, Sending
from rules.nodes.gate import GateNode


def sending(number: int) -> Sending:
    """A message that tells which it is by its port."""
    return Sending(0, 0, 0, (), number, b"\x90\x3c\x40")


def popped(agenda: Agenda) -> list[tuple[int, int]]:
    """All that is left, as (due, number), in the order it comes out."""
    found = []
    while agenda.next_due < NEVER:
        due, entry = agenda.pop()
        assert isinstance(entry, Sending)
        found.append((due, entry.target))
    return found


@given(st.lists(st.integers(0, 5)))
def test_entries_come_by_time_and_then_by_age(dues: list[int]) -> None:
    """The earliest comes first; of one time, the one that was put in first."""
    agenda = Agenda()
    for number, due in enumerate(dues):
        agenda.add(due, sending(number))
        assert agenda.next_due == min(dues[: number + 1])
    assert agenda.count == len(dues)
    assert popped(agenda) == sorted((due, number) for number, due in enumerate(dues))


def test_an_empty_agenda_is_never_due() -> None:
    """There is nothing to wait for before the first entry and after the last."""
    agenda = Agenda()
    assert agenda.next_due == NEVER
    agenda.add(3, sending(0))
    agenda.pop()
    assert agenda.next_due == NEVER


@given(st.lists(st.integers(0, 5), max_size=12), st.integers(1, 4))
def test_what_is_taken_out_leaves_the_rest_in_order(dues: list[int], step: int) -> None:
    """Entries that are asked for come out, in order; the others keep their times and their order."""
    agenda = Agenda()
    for number, due in enumerate(dues):
        agenda.add(due, sending(number))

    def is_wanted(entry: Entry) -> bool:
        return isinstance(entry, Sending) and entry.target % step == 0

    in_order = sorted((due, number) for number, due in enumerate(dues))
    taken = [entry.target for entry in agenda.take(is_wanted) if isinstance(entry, Sending)]
    assert taken == [number for _, number in in_order if number % step == 0]
    assert popped(agenda) == [(due, number) for due, number in in_order if number % step]


def test_changed_entries_keep_their_place() -> None:
    """A reload gives call backs their new nodes without moving them in time."""
    agenda = Agenda()
    old, new = GateNode(), GateNode()
    agenda.add(2, CallBack(old, "a"))
    agenda.add(1, sending(7))
    agenda.change(lambda entry: CallBack(new, entry.name) if isinstance(entry, CallBack) else entry)
    assert agenda.pop() == (1, sending(7))
    assert agenda.pop() == (2, CallBack(new, "a"))
