"""What was set before a moment of a take, for playing from there on (ruling 37).

Each channel's last: mode, reset, bank select and program, parameters, controllers, bend, pressure. Notes and sysex from
before are left out.
Source for what a reset leaves as it is: MIDI recommended practice RP-015.
"""

from __future__ import annotations

from collections.abc import Iterator
from typing import Final

from rules.midi.controllers import (
    BANK_LSB,
    BANK_MSB,
    DATA_ENTRY,
    FIRST_MODE,
    PARAMETER_SELECT,
    RESET_CONTROLLERS,
)
from rules.midi.messages import CHANNEL_PRESSURE, CONTROLLER, PITCH_BEND, PROGRAM, SYSEX
from rules.playback.held_values import SourceMessage

_DATA_MSB: Final = 6
_DATA_LSB: Final = 38
_STEPS: Final = DATA_ENTRY - {_DATA_MSB, _DATA_LSB}
_NRPN_LSB, _NRPN_MSB, _RPN_LSB, _RPN_MSB = 98, 99, 100, 101
_MODES: Final = {122: 122, 124: 124, 125: 124, 126: 126, 127: 126}
"""Settings among the mode messages: local control, omni off and on, mono and poly. Each pair is one setting."""
_OUTLIVES_RESET: Final = frozenset({7, 10, *range(70, 80), *range(91, 96)})
"""Volume, pan, sound controllers and effect depths."""

_Selection = tuple[bytes, ...]
"""The messages that choose a parameter, coarse half first."""


class _Channel:
    """What was set on one channel of one source, as the messages that set it."""

    def __init__(self) -> None:
        self.modes: dict[int, bytes] = {}
        self.reset: bytes | None = None
        self.bank: dict[int, bytes] = {}
        self.sound: tuple[bytes, ...] = ()  # bank selects and the program change behind them
        self.parameters: dict[_Selection, list[bytes]] = {}
        self.selection: dict[int, bytes] = {}
        self.controllers: dict[int, bytes] = {}
        self.bend: bytes | None = None
        self.pressure: bytes | None = None

    def take(self, message: bytes) -> None:
        kind = message[0] & 0xF0
        if kind == CONTROLLER:
            self._control(message[1], message)
        elif kind == PROGRAM:
            self.sound = (*self._banks(), message)
        elif kind == PITCH_BEND:
            self.bend = message
        elif kind == CHANNEL_PRESSURE:
            self.pressure = message

    def _banks(self) -> tuple[bytes, ...]:
        return tuple(self.bank[number] for number in sorted(self.bank))

    def _control(self, number: int, message: bytes) -> None:
        if number in (BANK_MSB, BANK_LSB):
            self.bank[number] = message
        elif number in PARAMETER_SELECT:
            pair = (_NRPN_LSB, _NRPN_MSB) if number <= _NRPN_MSB else (_RPN_LSB, _RPN_MSB)
            self.selection = {half: each for half, each in self.selection.items() if half in pair} | {number: message}
        elif number in DATA_ENTRY:
            self._enter_data(number, message)
        elif number == RESET_CONTROLLERS:
            self.reset = message
            self.controllers = {each: it for each, it in self.controllers.items() if each in _OUTLIVES_RESET}
            self.selection = {}
            self.bend = self.pressure = None
        elif number in _MODES:
            self.modes[_MODES[number]] = message
        elif number < FIRST_MODE:
            self.controllers.pop(number, None)
            self.controllers[number] = message

    def _selected(self) -> _Selection:
        return tuple(self.selection[number] for number in sorted(self.selection, reverse=True))

    def _enter_data(self, number: int, message: bytes) -> None:
        """Keep the coarse value, the fine one behind it, and steps up and down from there."""
        selected = self._selected()
        if not selected:
            return  # data for nothing
        entered = self.parameters.setdefault(selected, [])
        if number in _STEPS:
            entered.append(message)
        else:
            entered[:] = [each for each in entered if number == _DATA_LSB and each[1] == _DATA_MSB] + [message]

    def messages(self) -> Iterator[bytes]:
        """Yield what sets all of it, in an order in which nothing undoes what came before."""
        yield from self.modes.values()
        if self.reset is not None:
            yield self.reset
        yield from self.sound
        if self.sound[:-1] != self._banks():
            yield from self._banks()
        for selection, data in self.parameters.items():
            yield from selection
            yield from data
        yield from self._selected()
        yield from self.controllers.values()
        if self.bend is not None:
            yield self.bend
        if self.pressure is not None:
            yield self.pressure


class EarlierSettings:
    """Takes the messages before the moment, in their order."""

    def __init__(self) -> None:
        self._channels: dict[tuple[int, int], _Channel] = {}

    def note(self, source: int, message: bytes) -> None:
        """Take in a message of a source."""
        if message[0] < SYSEX:
            place = (source, message[0] & 0x0F)
            if place not in self._channels:
                self._channels[place] = _Channel()
            self._channels[place].take(message)

    def messages(self) -> list[SourceMessage]:
        """Return what sets everything as it was, by source and channel."""
        return [(place[0], message) for place in sorted(self._channels) for message in self._channels[place].messages()]
