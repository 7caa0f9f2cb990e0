"""What `thin` passes and keeps."""

from __future__ import annotations

from rules.steps.thin_node import ThinNode
from rules.timing.delays import NEVER
from tests.rules.steps.recording import FakeEngine, Recorder, ms


class Wheel:
    """A wheel in front of a `thin` of 10 ms."""

    def __init__(self) -> None:
        self.engine = FakeEngine()
        self.node = ThinNode(ms(10))

    def move(self, value: int, now: int, *, is_fine: bool = False, player: int = 0) -> bool:
        """Whether the value passes."""
        return bool(Recorder(self.engine, now=now).hand(self.node, 0xB0, 33 if is_fine else 1, value, player=player))

    def woken(self) -> list[tuple[int, list[int]]]:
        """What goes on later: when, and which values."""
        return [(due, [message[2] for message in messages]) for due, messages in self.engine.woken()]


def test_the_first_value_passes_and_the_last_arrives() -> None:
    """What comes in the pause waits in place of what waited, and counts once as kept."""
    wheel = Wheel()
    assert [wheel.move(value, value) for value in (0, 3, 6)] == [True, False, False]
    assert (wheel.woken(), wheel.engine.kept) == ([(10, [6])], 1)


def test_after_a_pause_the_next_one_passes() -> None:
    """The pause counts from the last value that went on."""
    wheel = Wheel()
    assert [wheel.move(1, 0), wheel.move(2, 10), wheel.move(3, 19)] == [True, True, False]
    assert wheel.woken() == [(20, [3])]
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
    assert wheel.woken() == [(10, [5, 6])]


def test_whatever_is_made_of_one_value_passes_together() -> None:
    """The same value that comes the same way twice, as before two zones, passes or waits as one."""
    wheel = Wheel()
    first, second = Recorder(wheel.engine), Recorder(wheel.engine, now=1)
    for recorder in (first, second):
        recorder.hand(wheel.node, 0xB0, 1, 7)
        recorder.hand(wheel.node, 0xB0, 1, 7)
    assert (len(first.made), len(second.made)) == (2, 0)
    assert wheel.woken() == [(10, [7, 7])]


def test_what_waits_leaves_with_its_source() -> None:
    """A source that is lost takes its values along; nothing is due for them any more."""
    wheel = Wheel()
    wheel.move(1, 0)
    wheel.move(2, 1, player=3)
    out = Recorder(wheel.engine, now=2)
    wheel.node.forget(wheel.engine.memory(wheel.node), 4, out)
    assert wheel.engine.scheduler.next_due == 10
    wheel.node.forget(wheel.engine.memory(wheel.node), 3, out)
    assert wheel.engine.scheduler.next_due == NEVER
    assert not wheel.move(3, 5)
    assert wheel.woken() == [(10, [3])]
