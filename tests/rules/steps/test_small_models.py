"""The steps whose models compute little: `rechannel`, `transpose`, `snap`, `chord`, `echo`, against values by hand."""

from __future__ import annotations

from fractions import Fraction

import pytest
from hypothesis import given
from hypothesis import strategies as st

from rules.steps.chord import ChordStep
from rules.steps.echo import EchoStep
from rules.steps.rechannel import RechannelStep
from rules.steps.registry import all_steps
from rules.steps.snap import SnapStep, nearest_key
from rules.steps.transpose import key_by_octaves


def test_steps_have_keys_of_their_own() -> None:
    """No two steps share a main key, and every step says in words what it does."""
    assert len({step.key for step in all_steps()}) == len(all_steps())
    assert all(step.__doc__ for step in all_steps())


def test_one_channel_takes_all_and_a_table_moves_what_it_names() -> None:
    """Channels that a table lacks pass."""
    assert [RechannelStep(to=4).channel_for(channel) for channel in (1, 4, 16)] == [4, 4, 4]
    table = RechannelStep(moves={1: 4, 2: 5})
    assert [table.channel_for(channel) for channel in (1, 2, 3, 4)] == [4, 5, 3, 4]


@pytest.mark.parametrize(
    ("key", "inside"),
    [
        (0, 0),
        (127, 127),
        (60, 60),
        (-1, 11),
        (-12, 0),
        (-13, 11),
        (-127, 5),
        (128, 116),
        (139, 127),
        (140, 116),
        (254, 122),
    ],
)
def test_a_key_that_leaves_the_keyboard_comes_back_by_whole_octaves(key: int, inside: int) -> None:
    """To the nearest that is inside (ruling 19)."""
    assert key_by_octaves(key) == inside


@given(st.integers(-127, 254))
def test_a_key_moves_by_octaves(key: int) -> None:
    """A moved key is the same note of the scale, inside, and no octave nearer would do."""
    inside = key_by_octaves(key)
    assert (inside - key) % 12 == 0
    assert 0 <= inside <= 127
    assert inside == key or not 0 <= inside + (12 if key > 127 else -12) <= 127


@pytest.mark.parametrize(
    ("step", "key", "velocity", "copies"),
    [
        (EchoStep(ms=Fraction(1), times=3, decay=30), 60, 100, [(1, 60, 70), (2, 60, 49), (3, 60, 34)]),  # 34.3
        (EchoStep(ms=Fraction(1), times=4, decay=50), 60, 2, [(1, 60, 1), (2, 60, 1)]),  # 1, 0.5 half up, 0.25 ends it
        (
            EchoStep(ms=Fraction(1), times=4, decay=50),
            60,
            3,
            [(1, 60, 2), (2, 60, 1)],
        ),  # 1.5, 0.75, 0.375: from the note itself
        (EchoStep(ms=Fraction(1), times=3, decay=0, transpose=12), 100, 9, [(1, 112, 9), (2, 124, 9)]),
        (EchoStep(ms=Fraction(1), times=3, decay=0, transpose=-12), 15, 9, [(1, 3, 9)]),
        (EchoStep(ms=Fraction(1), times=3, decay=100), 60, 127, []),
        (EchoStep(ms=Fraction(1)), 60, 100, [(1, 60, 70)]),
    ],
)
def test_each_copy_of_an_echo_is_computed_from_the_note(
    step: EchoStep, key: int, velocity: int, copies: list[tuple[int, int, int]]
) -> None:
    """Softer and further each time; one that falls silent or off the keys ends it."""
    assert step.copies(key, velocity) == copies


@given(st.integers(0, 127), st.frozensets(st.integers(0, 11), min_size=1))
def test_a_key_snaps_to_the_nearest_of_its_pitches(key: int, pitches: frozenset[int]) -> None:
    """No key of such a pitch is nearer, and of two as near it is the lower one."""
    found = nearest_key(key, pitches)
    there = [other for other in range(128) if other % 12 in pitches]
    assert found == min(there, key=lambda other: (abs(other - key), other))


def test_a_snap_moves_other_keys_or_drops_them() -> None:
    """Keys of its pitches stay."""
    assert [SnapStep(pitches=frozenset({0, 4})).key_for(key) for key in (60, 61, 62, 63, 64)] == [60, 60, 60, 64, 64]
    dropping = SnapStep(pitches=frozenset({0, 4}), others="drop")
    assert [dropping.key_for(key) for key in (60, 61, 64)] == [60, None, 64]


def test_a_chord_leaves_out_what_the_keyboard_lacks() -> None:
    """Keys that the table names have a chord of their own; the longest says how many notes there may be."""
    step = ChordStep(notes=(0, 7), keys={60: (-61, 0, 4)})
    assert [step.keys_for(key) for key in (50, 60, 125)] == [[50, 57], [60, 64], [125]]
    assert step.most_notes == 3
