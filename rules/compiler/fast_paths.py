"""Which path the engine may take through a cell, by its lanes: the fast ones where nothing can go wrong.

Every switch that a lane asks for holds: lanes that aren't open have been left out.
"""

from __future__ import annotations

from collections.abc import Sequence
from itertools import combinations
from typing import Final

from rules.midi.controllers import BANK_LSB, BANK_MSB, DATA_ENTRY, FIRST_MODE, MODULATION, PARAMETER_SELECT, PEDALS
from rules.midi.messages import CHANNEL_PRESSURE, CONTROLLER, KEY_PRESSURE, NOTE_OFF, NOTE_ON, PITCH_BEND, PROGRAM
from rules.program.byte_tables import IDENTITY, NO_BYTE
from rules.program.tables import GENERAL, HELD, NOTE, PASS, SHARED, Lane, OutputChannel

Lanes = tuple[Lane, ...]

CAREFUL: Final = frozenset({*PEDALS, BANK_MSB, BANK_LSB, *DATA_ENTRY, *PARAMETER_SELECT, *range(FIRST_MODE, 128)})
"""Controllers that holders of one channel must share with care; they never take the fast path."""


def keys_are_alike(on: Lanes, off: Lanes, press: Lanes) -> bool:
    """Return whether the paths of notes and their pressure are the same for all keys that have these lanes.

    They differ only where lanes that move keys in different ways may meet, or miss each other.
    """
    return all(one.one == other.one for one, other in combinations(on, 2) if _is_same_channel(one, other)) and all(
        lane.one == begun.one for lanes in (off, press) for begun, lane in zip(on, lanes, strict=False)
    )


def path_of_notes(keys: Sequence[int], on: Lanes, off: Lanes, press: Lanes, shared: frozenset[OutputChannel]) -> int:
    """Return the path of note-ons and note-offs of some keys."""
    if not _notes_are_simple(on, off, press, keys):
        return GENERAL
    return SHARED if any((lane.target, lane.status & 0x0F) in shared for lane in on) else NOTE


def path_of_key_pressure(keys: Sequence[int], notes: int, on: Lanes, press: Lanes) -> int:
    """Return the path of the pressure of some keys, where their `notes` take that path."""
    follows = notes == NOTE and bool(press) and _same_notes(on, press, KEY_PRESSURE, keys)
    return HELD if follows and _rests_simply(press) else GENERAL


def path_of_others(kind: int, first: int, lanes: Lanes, banks: frozenset[OutputChannel]) -> int:
    """Return the path of controllers that need no care, programs, channel pressure and bends that aren't chased."""
    simple = all(
        lane.straight and lane.status & 0xF0 == kind and NO_BYTE not in lane.gate[:128] for lane in lanes
    ) and len({(lane.target, lane.status) for lane in lanes}) == len(lanes)
    modulates = kind == CONTROLLER and any(lane.one[first] == MODULATION for lane in lanes)
    rests = bool(lanes) and (modulates or kind in (CHANNEL_PRESSURE, PITCH_BEND))
    if rests:
        simple = simple and _rests_simply(lanes)
    if modulates:
        simple = simple and all(lane.one[first] == MODULATION for lane in lanes)
    if kind == PROGRAM:
        simple = simple and banks.isdisjoint((lane.target, lane.status & 0x0F) for lane in lanes)
    return GENERAL if not simple else HELD if rests else PASS


def _is_total(lane: Lane) -> bool:
    return NO_BYTE not in lane.gate[1:128]


def _notes_are_simple(on: Lanes, off: Lanes, press: Lanes, keys: Sequence[int]) -> bool:
    """Return whether each note-on, at any velocity, goes to outputs of its own, and the note-off to the same ones."""
    return (
        all(lane.straight and lane.status & 0xF0 == NOTE_ON and lane.release is None and _is_total(lane) for lane in on)
        and all(lane.straight and NO_BYTE not in lane.gate[:128] for lane in off)
        and not any(_meet(one, other, keys) for one, other in combinations(on, 2))
        and _same_notes(on, off, NOTE_OFF, keys)
        and all(lane.straight for lane in press)
    )


def _meet(one: Lane, other: Lane, keys: Sequence[int]) -> bool:
    """Return whether two lanes make the same note of any of the keys."""
    return _is_same_channel(one, other) and any(one.one[key] == other.one[key] for key in keys)


def _is_same_channel(one: Lane, other: Lane) -> bool:
    return (one.target, one.status) == (other.target, other.status)


def _same_notes(on: Lanes, other: Lanes, kind: int, keys: Sequence[int]) -> bool:
    """Return whether the lanes of another kind lead to the same ports, channels and keys as those of the note-on."""
    return len(on) == len(other) and all(
        lane.status & 0xF0 == kind
        and (lane.target, lane.status & 0x0F) == (begun.target, begun.status & 0x0F)
        and (lane.one == begun.one or all(lane.one[key] == begun.one[key] for key in keys))
        for begun, lane in zip(on, other, strict=True)
    )


def _rests_simply(lanes: Lanes) -> bool:
    """Return whether what comes in at rest, and only that, goes out at rest."""
    for lane in lanes:
        kind = lane.status & 0xF0
        if not lane.straight or NO_BYTE in lane.gate[:128]:
            return False
        if kind == PITCH_BEND:
            if lane.one is not IDENTITY or lane.two is not IDENTITY:
                return False
            continue
        values = lane.one if kind == CHANNEL_PRESSURE else lane.two
        if values[0] != 0 or 0 in values[1:128]:
            return False
    return True
