"""What arrives, told to a person: messages in columns, and what ticks all the time folded into a reading."""

from __future__ import annotations

from collections.abc import Iterable
from typing import Final

from rules.midi.messages import ACTIVE_SENSING, CLOCK, KIND_OF_STATUS, MTC, STATUS_OF_KIND, SYSEX, message_fault
from rules.midi.notation import STANDARD, Naming, format_message, in_hex
from rules.timing.midi_clock import CLOCKS_A_BEAT, SILENCE, ClockReading

_GROUPS: Final = {
    "note": ("note-on", "note-off"),
    "transport": ("start", "continue", "stop", "song-position", "song-select"),
}

HEARD_KINDS: Final = (*_GROUPS, *STATUS_OF_KIND)
"""What can be asked for: every kind of message, notes together, transport together."""

_MOST_SYSEX: Final = 12  # bytes of a sysex that are shown
_SECOND: Final = 1_000_000_000
_NOTICEABLE: Final = 0.01  # of a tempo


def kinds_meant(names: Iterable[str]) -> frozenset[str]:
    """The kinds of message behind some of `HEARD_KINDS`."""
    return frozenset(kind for name in names for kind in _GROUPS.get(name, (name,)))


def kind_of(message: bytes) -> str:
    """The kind of a valid message, as it is written."""
    status = message[0]
    return KIND_OF_STATUS[status if status >= SYSEX else status & 0xF0]


def channel_of(message: bytes) -> int | None:
    """The channel (1-16) of a valid message; None where it has none."""
    return (message[0] & 0x0F) + 1 if message[0] < SYSEX else None


def columns_of(message: bytes, naming: Naming = STANDARD) -> str:
    """A message in words, with kind, channel, key or controller, and value each in a column of its own."""
    if message_fault(message):
        return f"{'not MIDI':<13}     {_shortened(message)}"
    if message[0] == SYSEX:
        return f"{'sysex':<13}     {_shortened(message)}"
    kind, *rest = format_message(message, naming).split(" ")
    if message[0] > SYSEX:
        return f"{kind:<13}     {' '.join(rest)}".rstrip()
    channel, *middle, value = rest
    return f"{kind:<13} {channel:>2}  {' '.join(middle):<16} {value:>5}"


def _shortened(message: bytes) -> str:
    """Bytes in hex; of a long sysex the beginning, which tells whose it is, and its length."""
    if len(message) <= _MOST_SYSEX:
        return in_hex(message)
    return f"{in_hex(message[:_MOST_SYSEX])} ... ({len(message):,} bytes)"


class SteadyMessages:
    """What one port sends all the time: clock, active sensing, time code. Times are nanoseconds."""

    def __init__(self) -> None:
        self._clock = ClockReading()
        self._clocks = 0
        self._told_bpm: float | None = None
        self._told_at = -_SECOND
        self._heard: dict[int, int] = {}

    @property
    def bpm(self) -> float | None:
        """The tempo that was told last; None where no clock runs."""
        return self._told_bpm

    def hear(self, message: bytes, now: int) -> str | None:
        """Take a message: None if it doesn't tick, else what there is to say of it, which mostly is nothing."""
        status = message[0]
        if status not in (CLOCK, ACTIVE_SENSING, MTC):
            return None
        is_new = status not in self._heard
        self._heard[status] = now
        if status == CLOCK:
            self._clock.tick(now)
            self._clocks += 1
            return self._tempo(now)
        if not is_new:
            return ""
        return "active sensing" if status == ACTIVE_SENSING else "time code runs"

    def _tempo(self, now: int) -> str:
        """The tempo, once a beat of it was heard, and when it has become another; not more than once a second."""
        bpm = self._clock.bpm(now) if self._clocks > CLOCKS_A_BEAT else None
        if bpm is None or now - self._told_at < _SECOND:
            return ""
        if self._told_bpm is not None and abs(bpm - self._told_bpm) < self._told_bpm * _NOTICEABLE:
            return ""
        self._told_bpm, self._told_at = bpm, now
        return f"clock, {bpm:.1f} beats a minute"

    def fall_silent(self, now: int) -> list[str]:
        """What has ticked, and ticks no more."""
        silent = [status for status, heard in self._heard.items() if now - heard > SILENCE]
        for status in silent:
            del self._heard[status]
        if CLOCK in silent:
            self._told_bpm, self._told_at, self._clocks, self._clock = None, -_SECOND, 0, ClockReading()
        words = {CLOCK: "clock stops", ACTIVE_SENSING: "active sensing stops", MTC: "time code stops"}
        return [words[status] for status in silent]
