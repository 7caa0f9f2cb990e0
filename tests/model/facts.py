"""What a message is, asked in plain words: its kind, its channel, its value, whether that is at rest."""

from __future__ import annotations

from rules.midi.controllers import FIRST_MODE, MODULATION, PEDALS, SWITCH_ON
from rules.midi.messages import BEND_CENTRE, END_OF_SYSEX, ESCAPED_TRANSPORT, KIND_OF_STATUS, SYSEX

Place = tuple[str, str, int, int]
"""Output port, kind (`note` for ons and offs), output channel 0-15, key or controller (0 for what has neither)."""

InKey = tuple[int, int, int]
"""Player, status byte (8n counted as 9n), key or controller (0 for what has neither): what a hand holds down."""


def is_on(message: bytes) -> bool:
    """A note-on; with velocity 0 it is a note-off (ruling 3)."""
    return message[0] & 0xF0 == 0x90 and message[2] > 0


def is_off(message: bytes) -> bool:
    """A note-off in either form."""
    return message[0] & 0xF0 == 0x80 or (message[0] & 0xF0 == 0x90 and message[2] == 0)


def is_note(message: bytes) -> bool:
    """A note-on or note-off."""
    return message[0] & 0xE0 == 0x80


def is_key_pressure(message: bytes) -> bool:
    """Pressure of one key."""
    return message[0] & 0xF0 == 0xA0


def is_controller(message: bytes) -> bool:
    """A controller 0-127, mode messages included."""
    return message[0] & 0xF0 == 0xB0


def has_key(message: bytes) -> bool:
    """Notes and key pressure."""
    return 0x80 <= message[0] <= 0xAF


def has_channel(message: bytes) -> bool:
    """Channel messages: everything below F0."""
    return message[0] < 0xF0


def signal_of(message: bytes) -> int:
    """The status of clock, transport and what goes with them, also inside an F7 escape (ruling 34); else 0."""
    status = message[1] if message[0] == END_OF_SYSEX and len(message) > 1 else message[0]
    return status if status in ESCAPED_TRANSPORT else 0


def is_signal(message: bytes) -> bool:
    """Clock, transport and what goes with them; not sysex."""
    return signal_of(message) > 0


def channel_of(message: bytes) -> int:
    """0-15."""
    return message[0] & 0x0F


def on_channel(message: bytes, channel: int) -> bytes:
    """The message moved to a channel 0-15."""
    return bytes((message[0] & 0xF0 | channel,)) + message[1:]


def kind_of(message: bytes) -> str:
    """The kind that a condition asks for, with `channel-mode` for the controllers 120-127."""
    if is_off(message):
        return "note-off"
    if is_signal(message):
        return KIND_OF_STATUS.get(signal_of(message), "undefined")
    if not has_channel(message):
        return "sysex"
    if is_controller(message) and message[1] >= FIRST_MODE:
        return "channel-mode"
    return KIND_OF_STATUS[message[0] & 0xF0]


def bend_of(message: bytes) -> int:
    """A bend as -8192..8191."""
    return (message[2] << 7 | message[1]) - BEND_CENTRE


def value_of(message: bytes) -> int:
    """The value of a channel message as rule files count it; a note has its velocity, a note-off 0."""
    match message[0] & 0xF0:
        case 0xE0:
            return bend_of(message)
        case 0xC0 | 0xD0:
            return message[1]
        case 0x80:
            return 0
        case _:
            return message[2]


def number_of(message: bytes) -> int:
    """The key or the controller; 0 for what has neither."""
    return message[1] if 0x80 <= message[0] <= 0xBF else 0


def in_key_of(player: int, message: bytes) -> InKey:
    """What is held down when this message comes in."""
    status = message[0] | 0x10 if is_note(message) else message[0]
    return player, status, number_of(message)


def in_channel_of(in_key: InKey | None) -> int:
    """The channel 0-15 of the hand: what clock and transport send counts as channel 1's."""
    return 0 if in_key is None or in_key[1] >= SYSEX else in_key[1] & 0x0F


def place_of(port: str, message: bytes) -> Place:
    """Where a channel message ends up."""
    kind = "note" if is_note(message) else KIND_OF_STATUS[message[0] & 0xF0]
    return port, kind, channel_of(message), number_of(message)


def is_held_like_a_note(message: bytes) -> bool:
    """Pedals, controller 1, bend and both pressures: what comes back to rest (ruling 13)."""
    if is_controller(message):
        return message[1] in PEDALS or message[1] == MODULATION
    return message[0] & 0xF0 in (0xA0, 0xD0, 0xE0)


def is_low(message: bytes) -> bool:
    """Whether the value is at rest: a pedal below 64, a bend in the middle, a note-off, all else at 0.

    A program change and a signal have no rest.
    """
    if not has_channel(message):
        return False
    if is_controller(message) and message[1] in PEDALS:
        return message[2] < SWITCH_ON
    return value_of(message) == 0 and message[0] & 0xF0 != 0xC0


def is_at_rest(message: bytes) -> bool:
    """Whether nothing is left to be ended: pedals exactly at 0, the others as `is_low`."""
    return is_held_like_a_note(message) and value_of(message) == 0


def rest_at(place: Place) -> bytes:
    """The message that brings a place back to rest."""
    _, kind, channel, number = place
    match kind:
        case "controller":
            return bytes((0xB0 | channel, number, 0))
        case "key-pressure":
            return bytes((0xA0 | channel, number, 0))
        case "channel-pressure":
            return bytes((0xD0 | channel, 0))
        case _:
            return bytes((0xE0 | channel, 0x00, 0x40))


def made_off(channel: int, key: int) -> bytes:
    """The note-off that we make: 8n, velocity 64 (ruling 12)."""
    return bytes((0x80 | channel, key, 64))
