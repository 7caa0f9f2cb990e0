"""What `thin` holds back."""

from __future__ import annotations

from fractions import Fraction

from rules.program.lag import NO_LAG
from rules.program.sending import Sending
from rules.program.thinning import Entry, Gate, Opening, Passage, Thins, Traveller
from rules.timing.delays import NEVER, Delay
from rules.timing.scheduler import Agenda


def later(now: int, delay: Delay) -> int:
    """Time in milliseconds."""
    return now + int(delay.ms)


class Wheel:
    """A wheel in front of one gate that opens every 10 ms; values are told apart by their number."""

    def __init__(self) -> None:
        self.agenda: Agenda[Entry] = Agenda()
        self.thins = Thins(self.agenda)

    def move(self, value: int, now: int, *, is_fine: bool = False, passage: Passage | None = None) -> bool:
        """Whether the value passes."""
        gate = Gate(("wheel",), Delay(ms=Fraction(10)), is_fine, passage or Passage())
        sending = Sending(0, 0, 0, (), value, b"\xb0\x07\x01")
        traveller = Traveller(sending, self.agenda.origin(), now, NO_LAG, (gate,))
        return self.thins.passes(traveller, gate, now, later)

    def opened(self) -> list[tuple[int, list[int]]]:
        """What goes on later: when, and which values."""
        found = []
        while self.agenda.next_due < NEVER:
            due, entry = self.agenda.pop()
            assert isinstance(entry, Opening)
            values = [traveller.sending.target for traveller in self.thins.open(entry, due)]
            found += [(due, values)] if values else []
        return found


def test_the_first_value_passes_and_the_last_arrives() -> None:
    """What comes in the pause waits in place of what waited."""
    wheel = Wheel()
    assert [wheel.move(value, value) for value in (0, 3, 6)] == [True, False, False]
    assert wheel.opened() == [(10, [6])]


def test_after_a_pause_the_next_one_passes() -> None:
    """The pause counts from the last value that went on."""
    wheel = Wheel()
    assert [wheel.move(1, 0), wheel.move(2, 10), wheel.move(3, 19)] == [True, True, False]
    assert wheel.opened() == [(20, [3])]
    assert [wheel.move(4, 29), wheel.move(5, 30)] == [False, True]


def test_a_fine_half_goes_with_its_coarse_half() -> None:
    """A pair is one value: it passes or waits together, and a new coarse half makes the old fine half void."""
    wheel = Wheel()
    assert wheel.move(1, 0)
    assert wheel.move(2, 0, is_fine=True)
    assert not wheel.move(3, 1)
    assert not wheel.move(4, 1, is_fine=True)
    assert not wheel.move(5, 2)
    assert not wheel.move(6, 2, is_fine=True)
    assert wheel.opened() == [(10, [5, 6])]


def test_whatever_is_made_of_one_value_passes_together() -> None:
    """Two messages behind the gate that come of one before it are not in each other's way."""
    wheel, passage = Wheel(), Passage()
    assert wheel.move(1, 0, passage=passage)
    assert wheel.move(2, 0, passage=passage)
    other = Passage()
    assert not wheel.move(3, 1, passage=other)
    assert not wheel.move(4, 1, passage=other)
    assert wheel.opened() == [(10, [3, 4])]


def test_what_waits_can_be_taken_out() -> None:
    """A source or a port that is lost takes its values along; nothing is due for them any more."""
    wheel = Wheel()
    wheel.move(1, 0)
    wheel.move(2, 1)
    (opening,) = wheel.agenda.take(lambda entry: True)
    assert isinstance(opening, Opening)
    assert wheel.thins.leave(opening, lambda sending: sending.target == 9) == []
    assert wheel.agenda.next_due == 10
    (opening,) = wheel.agenda.take(lambda entry: True)
    assert isinstance(opening, Opening)
    assert [sending.target for sending in wheel.thins.leave(opening, lambda sending: True)] == [2]
    assert wheel.agenda.next_due == NEVER
