"""Switches that messages turn, and conditions on them as they were before."""

from __future__ import annotations

from rules.behaviour.regions import Dimension
from rules.behaviour.turning import NOT_TURNED, conditions, switch_dimension, turned_by
from rules.program.guards import ALWAYS, either
from rules.program.switch_states import Layout, SwitchStates
from rules.steps.trigger_node import TriggerNode

LAYOUT = Layout({"up": SwitchStates((False, True), False), "song": SwitchStates(("a", "b", "c"), "a", wrap=True)})
UP, SONG = Dimension("switch", "up", 2), Dimension("switch", "song", 3)


def test_a_dimension_has_the_states_of_its_switch() -> None:
    """A gate has a bit for each."""
    assert (switch_dimension(LAYOUT, "song"), SONG.whole) == (SONG, 0b111)


def test_states_of_one_switch_are_one_condition() -> None:
    """Any of two values, at any state of the other switch; no condition is none."""
    guard = either(LAYOUT.equals("song", "a"), LAYOUT.equals("song", "c"))
    assert conditions(guard, NOT_TURNED, LAYOUT) == (((SONG, 0b101),),)
    assert conditions(ALWAYS, NOT_TURNED, LAYOUT) == ((),)


def test_a_condition_after_a_turn_is_one_on_the_state_before() -> None:
    """On after a toggle was off before; `b` after an advance was `a`; after a press of `a` nothing else is so."""
    toggled = turned_by(TriggerNode("up"), True, LAYOUT, NOT_TURNED)
    assert conditions(LAYOUT.equals("up", True), toggled, LAYOUT) == (((UP, 0b01),),)
    advanced = turned_by(TriggerNode("song", by=1), True, LAYOUT, toggled)
    assert conditions(LAYOUT.equals("song", "b"), advanced, LAYOUT) == (((SONG, 0b001),),)
    chosen = turned_by(TriggerNode("song", state="a"), True, LAYOUT, advanced)
    assert conditions(LAYOUT.equals("song", "b"), chosen, LAYOUT) == ()
    assert conditions(LAYOUT.equals("song", "a"), chosen, LAYOUT) == ((),)


def test_the_end_of_a_press_turns_only_what_is_momentary() -> None:
    """A momentary switch is off then, whatever it was."""
    let_go = turned_by(TriggerNode("up", momentary=True), False, LAYOUT, NOT_TURNED)
    assert conditions(LAYOUT.equals("up", True), let_go, LAYOUT) == ()
    assert conditions(LAYOUT.equals("up", False), let_go, LAYOUT) == ((),)
    toggle = turned_by(TriggerNode("up"), False, LAYOUT, NOT_TURNED)
    assert conditions(LAYOUT.equals("up", True), toggle, LAYOUT) == (((UP, 0b10),),)
