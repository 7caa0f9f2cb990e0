"""What turns switches."""

from __future__ import annotations

from rules.compiler.switch_guards import layout_of
from rules.program.switch_states import State
from rules.rulefile.reading import read_rules
from rules.steps.trigger_node import TriggerNode
from tests.rules.steps.recording import FakeEngine, Recorder, taken

RULES = """
[ports]
keys = { input = true }
rack = { output = true }
[switches]
up = { from = "keys", note = 1 }
key = { numbers = "-2..2", advance = [{ from = "keys", note = 2, by = 1 }] }
"""


def engine() -> FakeEngine:
    """A engine with a switch that is on or off and one that is a number."""
    return FakeEngine(layout_of(read_rules([("rules.toml", RULES.encode())]).switches))


def states(node: TriggerNode, switch: str, *messages: tuple[int, int, int]) -> list[State]:
    """What the switch is at after each message."""
    here = engine()
    found = []
    for message in messages:
        taken(node, here, *message)
        found.append(here.layout.state(here.word, switch))
    return found


def test_a_toggle_flips_on_each_press() -> None:
    """Half-pedals are one press (ruling 25)."""
    values = [(0xB0, 64, value) for value in (64, 70, 90, 0, 127)]
    assert states(TriggerNode("up"), "up", *values) == [True, True, True, True, False]
    assert states(TriggerNode("up"), "up", (0x90, 1, 9), (0x80, 1, 9), (0x90, 1, 9)) == [True, True, False]


def test_a_hold_lasts_as_long_as_its_press() -> None:
    """On from 64 on, off below."""
    values = [(0xB0, 64, value) for value in (64, 70, 63, 0)]
    assert states(TriggerNode("up", momentary=True), "up", *values) == [True, True, False, False]
    assert states(TriggerNode("up", momentary=True), "up", (0x90, 1, 9), (0x80, 1, 9)) == [True, False]


def test_numbers_stop_at_their_ends() -> None:
    """A step beyond changes nothing; a state can be set."""
    presses = [(0x90, 2, 9)] * 3
    assert states(TriggerNode("key", by=2), "key", *presses)[1:] == [2, 2]
    assert states(TriggerNode("key", state=1), "key", (0xC0, 5, 0)) == [1]


def test_a_trigger_is_consumed_unless_it_may_pass() -> None:
    """A trial consumes nothing and turns nothing."""
    for pass_on, consumed in ((False, True), (True, False)):
        recorder = Recorder(engine())
        recorder.hand(TriggerNode("up", pass_on=pass_on), 0x90, 1, 9)
        assert (recorder.consumed, recorder.made) == (consumed, [])
    here = engine()
    before = here.word
    taken(TriggerNode("up"), here, 0x90, 1, 9, trying=True)
    assert here.word == before
