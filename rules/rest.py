"""Values that are held away from rest: pedals, modulation, bend and pressure (ruling 13)."""

from __future__ import annotations

from typing import Final

from rules.messages import (
    BEND_CENTRE,
    CONTROLLER,
    MODULATION,
    PEDALS,
    PITCH_BEND,
    POLY_PRESSURE,
    PRESSURE,
    SWITCH_ON,
)

Place = tuple[int, int, int]
"""An output: port, status (channel included), and key or controller (0 where there is none)."""

HELD_CONTROLLERS: Final = PEDALS | {MODULATION}


def rest_place(target: int, message: bytes) -> Place | None:
    """Where a message is held until it comes to rest; None for what isn't held (ruling 13)."""
    status = message[0]
    kind = status & 0xF0
    if kind == CONTROLLER:
        return (target, status, message[1]) if message[1] in HELD_CONTROLLERS else None
    if kind == POLY_PRESSURE:
        return target, status, message[1]
    return (target, status, 0) if kind in (PRESSURE, PITCH_BEND) else None


def is_at_rest(message: bytes, *, fully: bool) -> bool:
    """Whether a message is at rest: bends in the middle, all else 0. A pedal below 64 is let go, if not `fully`."""
    kind = message[0] & 0xF0
    if kind == PITCH_BEND:
        return message[2] << 7 | message[1] == BEND_CENTRE
    if kind == PRESSURE:
        return message[1] == 0
    if kind == CONTROLLER and message[1] in PEDALS and not fully:
        return message[2] < SWITCH_ON
    return message[2] == 0


def rest_message(place: Place) -> bytes:
    """What brings a place to rest."""
    _, status, number = place
    kind = status & 0xF0
    if kind == PITCH_BEND:
        return bytes((status, BEND_CENTRE & 0x7F, BEND_CENTRE >> 7))
    return bytes((status, 0)) if kind == PRESSURE else bytes((status, number, 0))
