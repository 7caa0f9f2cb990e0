"""What controllers are called and how they are grouped, against the tables of the standard.

M1 is the MIDI 1.0 Detailed Specification 4.2.1 (1996).
"""

from __future__ import annotations

import pytest

from rules.midi.controllers import (
    CONTROLLER_ALIASES,
    CONTROLLER_NAMES,
    CONTROLLER_NUMBERS,
    FIRST_MODE,
    PEDALS,
    SWITCH_CONTROLLERS,
    SWITCH_ON,
)
from rules.midi.messages import OFF_VELOCITY


@pytest.mark.parametrize(
    ("number", "name"),
    [  # M1 table 3, in the short words of players
        (0, "bank select"),
        (1, "modulation"),
        (2, "breath"),
        (4, "foot"),
        (5, "portamento time"),
        (6, "data entry"),
        (7, "volume"),
        (8, "balance"),
        (10, "pan"),
        (11, "expression"),
        (12, "effect control 1"),
        (13, "effect control 2"),
        (16, "general purpose 1"),
        (19, "general purpose 4"),
        (64, "sustain"),
        (65, "portamento"),
        (66, "sostenuto"),
        (67, "soft pedal"),
        (68, "legato"),
        (69, "hold 2"),
        (70, "variation"),
        (71, "timbre"),
        (72, "release time"),
        (73, "attack time"),
        (74, "brightness"),
        (80, "general purpose 5"),
        (83, "general purpose 8"),
        (84, "portamento control"),
        (91, "reverb send"),
        (93, "chorus send"),
        (96, "data increment"),
        (97, "data decrement"),
        (98, "nrpn lsb"),
        (99, "nrpn msb"),
        (100, "rpn lsb"),
        (101, "rpn msb"),
        # M1 table 5, the mode messages
        (120, "all sound off"),
        (121, "reset all controllers"),
        (122, "local control"),
        (123, "all notes off"),
        (124, "omni off"),
        (125, "omni on"),
        (126, "mono"),
        (127, "poly"),
    ],
)
def test_controller_names(number: int, name: str) -> None:
    """Controllers have the numbers that the standard gives them."""
    assert CONTROLLER_NAMES[number] == name
    assert CONTROLLER_NUMBERS[name] == number


def test_fine_halves() -> None:
    """The controllers 32-63 are the fine halves of 0-31, and are called after their coarse half (M1 p.12)."""
    coarse = {number: name for number, name in CONTROLLER_NAMES.items() if number < 32}
    fine = {number: name for number, name in CONTROLLER_NAMES.items() if 32 <= number < 64}
    assert fine == {number + 32: f"{name} lsb" for number, name in coarse.items()}


def test_undefined_controllers_have_no_name() -> None:
    """What the standard leaves undefined is called by its number (M1 table 3; 75-79 were named later)."""
    undefined = {3, 9, 14, 15, *range(20, 32), *range(85, 91), *range(102, 120)}
    assert undefined.isdisjoint(CONTROLLER_NAMES)


def test_names_are_one_to_one() -> None:
    """No name stands for two controllers."""
    assert len(set(CONTROLLER_NAMES.values())) == len(CONTROLLER_NAMES)
    assert CONTROLLER_ALIASES.keys().isdisjoint(CONTROLLER_NAMES.values())


def test_switches_modes_and_velocities_have_the_limits_of_the_standard() -> None:
    """A switch is on from 64 (M1 p.12); modes begin at 120 (table 5); 64 is an off without sensing (p.10)."""
    assert (SWITCH_ON, FIRST_MODE, OFF_VELOCITY) == (64, 120, 64)
    assert {CONTROLLER_NAMES[number] for number in PEDALS} == {"sustain", "sostenuto", "soft pedal", "legato", "hold 2"}


def test_all_pedals_and_portamento_are_on_or_off() -> None:
    """The switches that the standard knows as such (M1 table 3)."""
    switches = {CONTROLLER_NAMES[number] for number in SWITCH_CONTROLLERS}
    assert switches == {CONTROLLER_NAMES[number] for number in PEDALS} | {"portamento"}
