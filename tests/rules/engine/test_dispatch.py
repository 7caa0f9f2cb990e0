"""When a message goes: after its delays, and after what it must not overtake (rulings 22, 29)."""

from __future__ import annotations

from fractions import Fraction

from rules.compiler.compiler import compile_rules
from rules.engine.delivery import Sent
from rules.engine.engine import Engine
from rules.program.event import DelayName, Event, Family
from rules.rulefile.reading import read_rules
from rules.timing.delays import AT_ONCE, NEVER, Delay

RULES = '[ports]\nkeys = { input = true }\nrack = { output = true }\n[[rules]]\nfrom = "keys"\nto = "rack"\n'
RULE: tuple[DelayName, ...] = ((("rule", "it", 1, "delay"), "it"),)
OTHER: tuple[DelayName, ...] = ((("rule", "other", 1, "delay"), "other"),)
MS = Delay(ms=Fraction(1))


def in_ms(now: int, delay: Delay) -> int:
    """Time in milliseconds."""
    return now + int(delay.ms)


class DispatchRig:
    """The dispatch of an engine with one player."""

    def __init__(self) -> None:
        self.engine = Engine(compile_rules(read_rules([("rules.toml", RULES.encode())])), in_ms)
        self.engine.add_player("keys")
        self.dispatch = self.engine.bookkeeping
        self.out: list[Sent] = []

    def event(
        self, now: int, delay: Delay, names: tuple[DelayName, ...] = RULE, message: bytes = b"\x93\x3c\x40"
    ) -> Event:
        """A message that came now, with a delay."""
        event = Event(0, 0, 0, message, now, Family(0), 0)
        event.delay, event.names = delay, names
        self.dispatch.find_due(event)
        return event


def test_what_is_not_delayed_is_due_when_it_comes() -> None:
    """And goes out at once."""
    rig = DispatchRig()
    event = rig.event(17, AT_ONCE, ())
    rig.dispatch.go(event, 17, rig.out)
    assert (event.due, rig.out, rig.dispatch.put_off) == (17, [(0, b"\x93\x3c\x40", 17, 0)], 0)


def test_a_message_waits_for_the_one_before() -> None:
    """On one rule and output channel; what it waited is known, so that its note-off is as late (ruling 22)."""
    rig = DispatchRig()
    assert rig.event(10, MS.times(30)).due == 40
    late = rig.event(10, MS)
    assert (late.due, late.held, late.wait) == (40, 29, 29)
    assert rig.event(10, MS, message=b"\x94\x3c\x40").due == 11
    assert rig.event(10, MS, OTHER).due == 11
    assert rig.event(50, MS).due == 51


def test_a_copy_waits_as_long_as_its_original() -> None:
    """It holds up nothing, and isn't held up by others than those that held up the note itself."""
    rig = DispatchRig()
    rig.event(0, MS.times(30))
    original = rig.event(10, MS)
    copy = original.derived(original.message)
    copy.wait, copy.copy, copy.delay = 0, ("echo", 1), MS.times(5)
    rig.dispatch.find_due(copy)
    assert (original.due, copy.due) == (30, 34)
    assert rig.event(10, MS).due == 30


def test_what_is_put_off_is_counted_and_comes_in_its_time() -> None:
    """Once; nothing is due any more then."""
    rig = DispatchRig()
    rig.dispatch.go(rig.event(10, MS), 10, rig.out)
    assert (rig.out, rig.dispatch.put_off, rig.engine.next_due) == ([], 1, 11)
    rig.engine.advance(20, rig.out)
    assert rig.out == [(0, b"\x93\x3c\x40", 11, 0)]
    assert (rig.dispatch.put_off, rig.engine.next_due) == (1, NEVER)


def test_a_value_waits_for_what_the_same_hand_owes_its_place() -> None:
    """A bend that is quicker by now comes after the slower one before it."""
    rig = DispatchRig()
    rig.dispatch.go(rig.event(0, MS.times(30), (), b"\xe0\x00\x50"), 0, rig.out)
    quick = rig.event(10, MS, (), b"\xe0\x00\x40")
    rig.dispatch.go(quick, 10, rig.out)
    assert quick.due == 30
