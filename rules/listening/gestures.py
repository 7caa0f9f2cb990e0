"""What a hand or foot did, told from the messages of one gesture: which key, pad, pedal, knob or button.

A gesture is what one port sends until it falls silent for a moment.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, replace
from typing import Final

from rules.midi.controllers import BANK_LSB, BANK_MSB, FIRST_MODE, SWITCH_CONTROLLERS
from rules.midi.messages import (
    ACTIVE_SENSING,
    BEND_CENTRE,
    CONTROLLER,
    KEY_PRESSURE,
    KIND_OF_STATUS,
    NOTE_OFF,
    NOTE_ON,
    PITCH_BEND,
    PROGRAM,
    RESET,
    SYSEX,
    split_message,
)
from rules.midi.notation import Naming, format_controller, format_note

Identity = tuple[str, int | None, int | None]
"""Kind, channel and number: what makes a control the same thing when it is used again."""

_FINE_HALF: Final = 32  # from a controller to the controller with its low seven bits (MIDI 1.0 p. 12)
_TOP: Final = 127
_MOST_SYSEX_SHOWN: Final = 8


@dataclass(frozen=True, slots=True)
class Control:
    """One thing that was pressed, moved or sent.

    `kind` is `note`, `controller`, `program`, `pitch-bend`, `channel-pressure`, `key-pressure`, `sysex`, or that of a
    clock or transport message. `channel` is 1-16, `number` the key, controller or program on the wire (0-127); None
    where the kind has none. `values` are those that were seen: velocities of note-ons, bends from -8192 to 8191,
    else 0-127. `fine` tells that a controller came with its low half, `bank` which bank came before a program.
    """

    kind: str
    channel: int | None = None
    number: int | None = None
    values: tuple[int, ...] = ()
    fine: bool = False
    bank: tuple[int, int] | None = None
    data: bytes = b""

    @property
    def identity(self) -> Identity:
        """What makes it the same thing when it is used again."""
        return self.kind, self.channel, self.number

    @property
    def is_pedal(self) -> bool:
        """Whether it is on or off rather than somewhere between: a pedal or button."""
        if self.kind != "controller" or self.number is None or self.number >= FIRST_MODE:
            return False
        return self.number in SWITCH_CONTROLLERS or (not self.fine and set(self.values) <= {0, _TOP})

    def words(self, naming: Naming) -> str:
        """Return what it is and what it did, as in `pedal sustain (controller 64), channel 1: 127, 0`."""
        where = f", channel {self.channel}" if self.channel is not None else ""
        return f"{self._name(naming)}{where}{self._did(naming)}"

    def _name(self, naming: Naming) -> str:
        number = self.number if self.number is not None else 0
        match self.kind:
            case "note" | "key-pressure":
                what = "note" if self.kind == "note" else "pressure on the key"
                return f"{what} {format_note(number, naming)} (key {number})"
            case "controller":
                what = "pedal or button" if self.is_pedal else "controller"
                name = format_controller(number)
                return f"{what} {name}" if name == str(number) else f"{what} {name} ({number})"
            case "program":
                bank = f" of bank {self.bank[0]}/{self.bank[1]}" if self.bank else ""
                return f"program {number + naming.first_program}{bank}"
            case "pitch-bend":
                return "pitch bend"
            case "channel-pressure":
                return "aftertouch (channel pressure)"
            case "sysex":
                more = " ..." if len(self.data) > _MOST_SYSEX_SHOWN else ""
                return f"sysex of {len(self.data)} bytes, {self.data[:_MOST_SYSEX_SHOWN].hex(' ').upper()}{more}"
            case _:
                return self.kind

    def _did(self, naming: Naming) -> str:
        if not self.values:
            return ""
        low, high = min(self.values), max(self.values)
        what = {"note": "velocity ", "pitch-bend": "from "}.get(self.kind, "")
        if self.kind == "pitch-bend":
            return f": {what}{low:+d} to {high:+d}"
        if self.is_pedal or len(set(self.values)) <= 2:
            return f": {what}{', '.join(str(value) for value in dict.fromkeys(self.values))}"
        return f": {what}from {low} to {high}"


def controls(messages: Iterable[bytes]) -> list[Control]:
    """Return what a gesture touched, in the order of the first touch. Active sensing and system reset are nobody's."""
    seen: dict[Identity, list[int]] = {}
    sysex: list[bytes] = []
    for message in messages:
        status, first, second = split_message(message)
        if status == SYSEX:
            sysex.append(message)
        elif status not in (ACTIVE_SENSING, RESET):
            kind, number, value = _read(status, first, second)
            channel = (status & 0x0F) + 1 if status < SYSEX else None
            values = seen.setdefault((kind, channel, number), [])
            if value is not None:
                values.append(value)
    found = [Control(*identity, tuple(values)) for identity, values in seen.items()]
    return [*_joined(found), *(Control("sysex", data=data) for data in sysex)]


def _read(status: int, first: int, second: int) -> tuple[str, int | None, int | None]:
    """Kind, number and value; a note-off has no value, since its velocity is hardly ever meant."""
    match status & 0xF0:
        case high if high in (NOTE_ON, NOTE_OFF):
            return "note", first, second if high == NOTE_ON else None
        case high if high in (KEY_PRESSURE, CONTROLLER):
            return KIND_OF_STATUS[high], first, second
        case high if high == PROGRAM:
            return "program", first, None
        case high if high == PITCH_BEND:
            return "pitch-bend", None, (second << 7 | first) - BEND_CENTRE
        case high if high < SYSEX:
            return "channel-pressure", None, first
    return KIND_OF_STATUS[status], None, None


def _joined(found: list[Control]) -> list[Control]:
    """Two halves of a fine controller are one control, and a bank belongs to the program that follows."""
    seen = {control.identity: control for control in found}
    joined = []
    for control in found:
        if control.kind == "program":
            joined.append(replace(control, bank=_bank(control, seen)))
        elif control.kind != "controller":
            joined.append(control)
        elif not _is_part(control, seen):
            joined.append(replace(control, fine=_half(control, +_FINE_HALF) in seen))
    return joined


def _is_part(control: Control, seen: Mapping[Identity, Control]) -> bool:
    """Return whether a controller only adds to another control of the gesture."""
    if control.number in (BANK_MSB, BANK_LSB):
        return any(kind == "program" and channel == control.channel for kind, channel, _ in seen)
    return control.number in range(_FINE_HALF, 2 * _FINE_HALF) and _half(control, -_FINE_HALF) in seen


def _half(control: Control, away: int) -> Identity:
    number = control.number if control.number is not None else 0
    return control.kind, control.channel, number + away if number + away < 2 * _FINE_HALF else None


def _bank(program: Control, seen: Mapping[Identity, Control]) -> tuple[int, int] | None:
    halves = [seen.get(("controller", program.channel, number)) for number in (BANK_MSB, BANK_LSB)]
    if not any(halves):
        return None
    most, least = (half.values[-1] if half else 0 for half in halves)
    return most, least
