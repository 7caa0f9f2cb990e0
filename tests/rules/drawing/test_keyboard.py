"""The keyboard above a split."""

from __future__ import annotations

import itertools

import pytest

from rules.drawing.keyboard import FULL_SIZE, Keyboard
from rules.drawing.svg import Text
from rules.midi.notation import Naming


def test_a_keyboard_has_88_keys_unless_a_zone_needs_more() -> None:
    """Then it has all 128."""
    assert (Keyboard.showing(0, 100, [60]).low, Keyboard.showing(0, 100, [60]).high) == FULL_SIZE
    assert (Keyboard.showing(0, 100, [12]).low, Keyboard.showing(0, 100, [12]).high) == (0, 127)


@pytest.mark.parametrize("keyboard", [Keyboard.showing(10, 520, []), Keyboard.showing(10, 520, [0])])
def test_keys_stand_from_left_to_right_without_gaps(keyboard: Keyboard) -> None:
    """The lowest begins at the left edge, the highest ends at the right one."""
    lefts = [keyboard.left_of(key) for key in range(keyboard.low, keyboard.high + 2)]
    assert (lefts[0], lefts[-1]) == (10, 530)
    assert all(left < right for left, right in itertools.pairwise(lefts))


def test_zones_that_meet_meet_in_the_picture() -> None:
    """Below and above a white key, and a black one."""
    keyboard = Keyboard.showing(0, 520, [])
    for key in (60, 61):
        assert keyboard.band((0, key - 1), 0, 10).right == keyboard.band((key, 127), 0, 10).x


def test_a_zone_from_end_to_end_covers_the_keyboard() -> None:
    """Keys outside of the keyboard are at its ends."""
    assert Keyboard.showing(5, 100, []).band((0, 127), 0, 10)[:3] == (5, 0, 100)


def test_octaves_are_named_as_the_file_names_them() -> None:
    """Middle C alone where there is no room for all."""
    wide, narrow = Keyboard.showing(0, 1000, []), Keyboard.showing(0, 100, [])

    def names(keyboard: Keyboard, naming: Naming) -> list[str]:
        return [label.text for label in keyboard.labels(0, 20, naming) if isinstance(label, Text)]

    assert names(wide, Naming(middle_c=3)) == ["C0", "C1", "C2", "C3", "C4", "C5", "C6", "C7"]
    assert names(narrow, Naming()) == ["C4"]
