"""Switch states in one word: packing, turning, conditions, and what a reload keeps of them."""

from __future__ import annotations

import itertools
from collections.abc import Iterator

import pytest
from hypothesis import given
from hypothesis import strategies as st

from rules.compiler.switch_guards import guard_of, layout_of
from rules.fields.when import parse_when
from rules.program.guards import holds
from rules.program.switch_states import State
from rules.rulefile.switch_tables import NumberSwitch, OnOffSwitch, ValueSwitch
from tests.model.asking import Switches
from tests.model.asking import holds as model_holds

SONG = ValueSwitch.model_validate({"values": ["verse", "chorus", "last one"], "initial": "chorus"})
KEY = NumberSwitch.model_validate({"numbers": "-2..2"})
UP = OnOffSwitch.model_validate({"from": "keys", "controller": 67})
LAYOUT = layout_of({"up": UP, "song": SONG, "key": KEY})
STATES: dict[str, list[State]] = {
    "up": [False, True],
    "song": ["verse", "chorus", "last one"],
    "key": [-2, -1, 0, 1, 2],
}
TERMS = ["up", "not up", "song = verse", "not song = last one", "key = 0..", "not key = ..-1", "key = 2", "key = -1..1"]
CONDITIONS = st.lists(st.lists(st.sampled_from(TERMS), min_size=1, max_size=3), min_size=1, max_size=3).map(
    lambda alternatives: " or ".join(" and ".join(terms) for terms in alternatives)
)


def words() -> Iterator[tuple[int, Switches]]:
    """Every word of the layout with what its switches are at."""
    for states in itertools.product(*STATES.values()):
        word = LAYOUT.initial
        for name, state in zip(STATES, states, strict=True):
            word = LAYOUT.turned(word, name, state)
        yield word, dict(zip(STATES, states, strict=True))


def test_switches_start_as_the_rule_file_says() -> None:
    """Off, the value named as `initial`, and the number nearest to 0."""
    assert {name: LAYOUT.state(LAYOUT.initial, name) for name in STATES} == {"up": False, "song": "chorus", "key": 0}


def test_each_switch_has_bits_of_its_own() -> None:
    """Whatever the others are at, each switch is at what it was turned to."""
    for word, states in words():
        assert {name: LAYOUT.state(word, name) for name in STATES} == states


@given(CONDITIONS)
def test_a_guard_holds_when_its_condition_does(text: str) -> None:
    """At every setting the guard of a `when` says what the model reads in it, and its negation the opposite."""
    when = parse_when(text)
    guard = guard_of(LAYOUT, when)
    shut = LAYOUT.negated(guard)
    for word, states in words():
        assert holds(guard, word) == model_holds(when, states)
        assert holds(shut, word) != holds(guard, word)


def test_no_condition_always_holds() -> None:
    """A step without `when` is always on."""
    assert all(holds(guard_of(LAYOUT, None), word) for word, _ in words())


def test_equals_is_one_state() -> None:
    """The guard of a state holds at that state and at no other."""
    guard = LAYOUT.equals("key", -1)
    assert [states["key"] for word, states in words() if holds(guard, word)] == [-1] * 6


@pytest.mark.parametrize(
    ("name", "state", "by", "after"),
    [
        ("key", 1, 3, 2),
        ("key", -1, -9, -2),
        ("key", 0, 1, 1),
        ("song", "last one", 1, "verse"),
        ("song", "verse", -1, "last one"),
    ],
)
def test_numbers_stop_and_values_go_round(name: str, state: State, by: int, after: State) -> None:
    """A step beyond the last number stays there; beyond the last value comes the first."""
    word = LAYOUT.turned(LAYOUT.initial, name, state)
    word = LAYOUT.changed(word, name, lambda field, code: field.advanced(code, by))
    assert LAYOUT.state(word, name) == after


def test_what_no_switch_can_be_at_is_refused() -> None:
    """Unknown names and states are told by exceptions that callers turn into words."""
    with pytest.raises(KeyError, match="nobody"):
        LAYOUT.turned(LAYOUT.initial, "nobody", True)
    with pytest.raises(ValueError, match="not in tuple"):
        LAYOUT.turned(LAYOUT.initial, "song", "bridge")


def test_a_reload_keeps_what_still_exists() -> None:
    """Switches and states that the new rules know stay as they are; the rest is as at the start."""
    new = layout_of({"key": NumberSwitch.model_validate({"numbers": "0..9"}), "song": SONG, "up": UP})
    for word, states in words():
        kept = new.translated(word, LAYOUT)
        wanted = {**states, "key": max(states["key"], 0) if isinstance(states["key"], int) else 0}
        assert {name: new.state(kept, name) for name in STATES} == wanted
