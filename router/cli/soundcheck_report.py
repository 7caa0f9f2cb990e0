"""What could be heard at a sound check, device by device: in words, and as the data that `note_player` describes."""

from __future__ import annotations

import sys
from collections.abc import Mapping, Sequence
from typing import Any, Literal, NamedTuple

from router.midi.port_events import PortEvent
from router.text.formatting import columns, count, plain
from router.text.terminal import painted
from rules.listening.soundcheck import DeviceCheck
from rules.midi.notation import format_message, format_note
from rules.rulefile.reading import Reading

State = Literal["played", "missing", "virtual", "silent"]


class FoundPorts(NamedTuple):
    """The outputs of a rig by our names: those that only the daemon makes, what was said of those that aren't there,
    and which port of the computer each of the others is."""

    virtual: frozenset[str]
    missing: Mapping[str, PortEvent]
    computer_ports: Mapping[str, str | None]

    def state(self, check: DeviceCheck) -> State:
        """Return whether a device can be played, or why it can't."""
        if check.port in self.virtual:
            return "virtual"
        if check.port in self.missing:
            return "missing"
        return "played" if check.sounds else "silent"


class SoundcheckReport:
    """Says what becomes of each check, before it is played and afterwards."""

    def __init__(self, reading: Reading, checks: Sequence[DeviceCheck], found: FoundPorts) -> None:
        self._reading = reading
        self._checks = checks
        self._found = found

    @property
    def ok(self) -> bool:
        """Whether every device can be played."""
        return not self._unheard()

    def _unheard(self) -> list[DeviceCheck]:
        return [check for check in self._checks if self._found.state(check) != "played"]

    # -- in words -----------------------------------------------------------------------------------------------------

    def lines(self) -> list[str]:
        """Return a line for each device, in columns, to be shown while it plays."""
        lines = columns([self._row(number, check) for number, check in enumerate(self._checks, 1)])
        played = [self._found.state(check) == "played" for check in self._checks]
        return [
            line if is_fine else painted(line, "bad", sys.stdout) for line, is_fine in zip(lines, played, strict=True)
        ]

    def _row(self, number: int, check: DeviceCheck) -> tuple[str, ...]:
        port = self._found.computer_ports.get(check.port)
        where = f"{check.port} ({port})" if port else check.port
        return f"{number} of {len(self._checks)}", plain(check.device), f"port {plain(where)}", *self._what(check)

    def _what(self, check: DeviceCheck) -> tuple[str, str]:
        match self._found.state(check):
            case "virtual":
                return "not played", "the daemon makes this port; no program uses it"
            case "missing":
                return "not played", plain(_reason(self._found.missing[check.port]))
            case "silent":
                return "not played", "the steps of the device drop the note"
        assert check.sounds is not None
        naming = self._reading.devices[check.device].source.naming
        channel, key = (check.sounds[0] & 0x0F) + 1, check.sounds[1]
        return f"channel {channel}", f"{format_note(key, naming)} (key {key}) sounds"

    def summary(self) -> list[str]:
        """Return the last words."""
        unheard = self._unheard()
        if not unheard:
            return ["", f"{count(len(self._checks), 'device')} played."]
        words = f"{len(unheard)} of {count(len(self._checks), 'device')} not played: "
        return ["", painted(words + ", ".join(plain(check.device) for check in unheard), "bad", sys.stdout)]

    # -- as data ------------------------------------------------------------------------------------------------------

    def data(self) -> dict[str, Any]:
        """Return the same for programs."""
        return {"command": "soundcheck", "ok": self.ok, "devices": [self._device_data(check) for check in self._checks]}

    def _device_data(self, check: DeviceCheck) -> dict[str, Any]:
        state = self._found.state(check)
        sounds = check.sounds if state == "played" else None
        naming = self._reading.devices[check.device].source.naming
        return {
            "device": check.device,
            "port": check.port,
            "computer_port": self._found.computer_ports.get(check.port),
            "state": state,
            "channel": (sounds[0] & 0x0F) + 1 if sounds else None,
            "key": sounds[1] if sounds else None,
            "velocity": sounds[2] if sounds else None,
            "message": format_message(sounds, naming) if sounds else None,
        }


def _reason(event: PortEvent) -> str:
    """Return why a port isn't there, without its name, which is in the same line."""
    head = f"{event.wanted.words}: " if event.wanted else ""
    return event.words.removeprefix(head).removesuffix("; waiting for it")
