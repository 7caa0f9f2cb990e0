"""Cells of lanes that ask for the states of switches."""

from __future__ import annotations

import pytest

from rules.program.pipeline import Pipeline
from rules.program.tables import GENERAL, HELD, NOTE, PASS, SWITCHED, Cell
from tests.rules.compiler.test_cells import NAMES, cell, compiled, rule

SWITCHES = """
[switches]
up = { from = "pads", controller = "soft pedal" }
song = { values = ["first", "second", "third"] }
"""
UP, SONG = 1, 6
"""Their bits in the word."""


def switched(rules: str) -> Pipeline:
    """The pipeline of rules with two switches."""
    return compiled(SWITCHES + rules)


def lanes_of(found: Cell) -> list[int]:
    """What the lanes of a cell make of key 60."""
    return [lane.one[60] for lane in found.lanes]


def test_only_lanes_that_are_open_stand_in_the_cell_of_a_state() -> None:
    """And where they alone could take the fast path, they do."""
    pipeline = switched(rule('steps = [{ transpose = 12, when = "up" }]'))
    on = cell(pipeline, 0x90, 60)
    assert on.path == SWITCHED
    assert [lanes_of(on.at(word)) for word in (0, UP)] == [[60], [72]]
    off = cell(pipeline, 0x80, 60)
    assert [lanes_of(off.at(word)) for word in (0, UP)] == [[60], [72]]


def test_the_cells_of_a_key_know_each_other_by_state() -> None:
    """A note-off in the state of its note-on finds it, and so does key pressure; in another state they don't."""
    pipeline = switched(rule('when = "up"'))
    on, off, pressure = (cell(pipeline, status, 60) for status in (0x90, 0x80, 0xA0))
    assert off.at(UP).ons is on.at(UP)
    assert pressure.at(UP).ons is on.at(UP)
    assert off.at(0).ons is not on.at(UP)


def test_a_cell_remembers_the_states_it_stands_for() -> None:
    """Those that its lanes ask for; all others make no difference."""
    on = cell(switched(rule('when = "up"')), 0x90, 60)
    assert on.at(UP | SONG) is on.at(UP)
    assert on.at(UP | SONG).word == UP


def test_a_cell_that_asks_for_no_switch_is_the_same_in_all_states() -> None:
    """As most are."""
    on = cell(switched(rule()), 0x90, 60)
    assert on.at(UP) is on


@pytest.mark.parametrize(
    ("status", "first", "when_up"),
    [(0x90, 60, NOTE), (0xA0, 60, HELD), (0xB0, 7, PASS), (0xB0, 1, HELD), (0xE0, 0, HELD)],
)
def test_each_kind_takes_the_path_that_it_takes_without_a_switch(status: int, first: int, when_up: int) -> None:
    """While the rule is in force; else nothing is sent, as fast."""
    found = cell(switched(rule('when = "up"')), status, first)
    assert NAMES[found.path] == "switched"
    assert NAMES[found.at(UP).path] == NAMES[when_up]
    assert found.at(0).lanes == ()


def test_two_rules_that_make_one_note_go_the_whole_way_only_while_both_are_open() -> None:
    """Two lanes to one note are one note."""
    on = cell(switched(rule() + rule('when = "up"\nsteps = [{ velocity = 9 }]')), 0x90, 60)
    assert [on.at(word).path == GENERAL for word in (0, UP)] == [False, True]


@pytest.mark.parametrize(
    "more",
    [
        'when = "up"\nsteps = [{ map = { from = "controller 7", to = "note 60" } }]',
        'steps = [{ delay = 5, when = "up" }]',
        'when = "up"\nchase = ["volume"]',
    ],
)
def test_what_a_closed_lane_may_have_left_behind_is_looked_after(more: str) -> None:
    """Notes made of values, what waits, and what is chased go the whole way in all states."""
    found = cell(switched(rule(more)), 0xB0, 7)
    assert [found.at(word).path for word in (0, UP)] == [GENERAL, GENERAL]


def test_pressure_asks_for_whatever_any_pressure_of_its_channel_asks_for() -> None:
    """It comes to rest by another cell than it left it."""
    rules = rule('when = "up"\nmatch = { kind = "channel-pressure", value = "..63" }') + rule(
        'when = "song = second"\nmatch = { kind = "channel-pressure", value = "64.." }'
    )
    found = cell(switched(rules), 0xD0, 100)
    assert len(found.lanes) == 1
    assert found.at(UP | SONG).word == UP | SONG
