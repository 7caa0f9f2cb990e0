"""MIDI 1.0 facts: what controllers are called, and which ones are handled alike.

Source of every number here: MIDI 1.0 Detailed Specification 4.2.1, tables 3 and 5.
"""

from __future__ import annotations

from types import MappingProxyType
from typing import Final

FIRST_MODE: Final = 120
"""Controllers from here to 127 are channel mode messages (MIDI 1.0 table 5)."""

SWITCH_ON: Final = 64
"""A switch controller is on from this value up, off below (MIDI 1.0 p.12)."""

SWITCH_CONTROLLERS: Final = range(64, 70)
"""On or off by definition (MIDI 1.0 table 3): the pedals, and portamento."""

PEDALS: Final = frozenset({64, 66, 67, 68, 69})
"""Held like notes (ruling 13): damper, sostenuto, soft, legato footswitch, hold 2."""

BANK_MSB: Final = 0
MODULATION: Final = 1
BANK_LSB: Final = 32
SUSTAIN: Final = 64
SOSTENUTO: Final = 66
HOLD_2: Final = 69
PORTAMENTO_CONTROL: Final = 84
DATA_ENTRY: Final = frozenset({6, 38, 96, 97})
PARAMETER_SELECT: Final = frozenset({98, 99, 100, 101})
RESET_CONTROLLERS: Final = 121
ALL_SOUND_OFF: Final = 120
ALL_NOTES_OFF: Final = 123

EVERY_NOTE_ENDS: Final = frozenset({ALL_SOUND_OFF, *range(ALL_NOTES_OFF, 128)})
"""The mode messages that end all notes of a channel (MIDI 1.0 p.20)."""

CONTROLLER_NAMES: Final = MappingProxyType(
    {
        0: "bank select",
        1: "modulation",
        2: "breath",
        4: "foot",
        5: "portamento time",
        6: "data entry",
        7: "volume",
        8: "balance",
        10: "pan",
        11: "expression",
        12: "effect control 1",
        13: "effect control 2",
        16: "general purpose 1",
        17: "general purpose 2",
        18: "general purpose 3",
        19: "general purpose 4",
        32: "bank select lsb",
        33: "modulation lsb",
        34: "breath lsb",
        36: "foot lsb",
        37: "portamento time lsb",
        38: "data entry lsb",
        39: "volume lsb",
        40: "balance lsb",
        42: "pan lsb",
        43: "expression lsb",
        44: "effect control 1 lsb",
        45: "effect control 2 lsb",
        48: "general purpose 1 lsb",
        49: "general purpose 2 lsb",
        50: "general purpose 3 lsb",
        51: "general purpose 4 lsb",
        64: "sustain",
        65: "portamento",
        66: "sostenuto",
        67: "soft pedal",
        68: "legato",
        69: "hold 2",
        70: "variation",
        71: "timbre",
        72: "release time",
        73: "attack time",
        74: "brightness",
        80: "general purpose 5",
        81: "general purpose 6",
        82: "general purpose 7",
        83: "general purpose 8",
        84: "portamento control",
        91: "reverb send",
        92: "tremolo depth",
        93: "chorus send",
        94: "detune depth",
        95: "phaser depth",
        96: "data increment",
        97: "data decrement",
        98: "nrpn lsb",
        99: "nrpn msb",
        100: "rpn lsb",
        101: "rpn msb",
        120: "all sound off",
        121: "reset all controllers",
        122: "local control",
        123: "all notes off",
        124: "omni off",
        125: "omni on",
        126: "mono",
        127: "poly",
    }
)
"""MIDI 1.0 table 3 in the short forms that players say."""

CONTROLLER_ALIASES: Final = MappingProxyType(
    {
        "bank": 0,
        "bank select msb": 0,
        "mod": 1,
        "mod wheel": 1,
        "modulation wheel": 1,
        "foot controller": 4,
        "data entry msb": 6,
        "channel volume": 7,
        "damper": 64,
        "damper pedal": 64,
        "sustain pedal": 64,
        "hold": 64,
        "hold 1": 64,
        "sostenuto pedal": 66,
        "soft": 67,
        "legato footswitch": 68,
        "resonance": 71,
        "effects depth 1": 91,
        "effects depth 2": 92,
        "effects depth 3": 93,
        "effects depth 4": 94,
        "effects depth 5": 95,
        "reverb": 91,
        "chorus": 93,
        "local": 122,
    }
)

CONTROLLER_NUMBERS: Final = MappingProxyType(
    {**{name: number for number, name in CONTROLLER_NAMES.items()}, **CONTROLLER_ALIASES}
)
