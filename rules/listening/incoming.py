"""Incoming messages for `listen`: in words, and what arrives all the time as a reading."""

from __future__ import annotations

from collections.abc import Iterable
from typing import Final

from rules.midi.messages import ACTIVE_SENSING, CLOCK, KIND_OF_STATUS, MTC, STATUS_OF_KIND, SYSEX, message_fault
from rules.midi.notation import STANDARD, Naming, format_message, in_hex
from rules.timing.delays import NANOSECONDS_PER_SECOND
from rules.timing.midi_clock import CLOCKS_A_BEAT, SILENCE_NS, ClockReading

_GROUPS: Final = {
    "note": ("note-on", "note-off"),
    "transport": ("start", "continue", "stop", "song-position", "song-select"),
}

HEARD_KINDS: Final = (*_GROUPS, *STATUS_OF_KIND)
"""What `--only` and `--without` take: every kind of message, `note` for both kinds of notes, and `transport`."""

LONGEST: Final = 39
"""Characters of the longest line of `in_words`: `controller 16 reset all controllers 127`."""

_MOST_WHOLE: Final = 10  # bytes that are shown to the last one: LONGEST is room for no more
_MOST_SHOWN: Final = 5  # bytes of a longer message, since its length is shown as well
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


def in_words(message: bytes, naming: Naming = STANDARD) -> str:
    """A message in our notation; a long sysex by its first bytes and its length, other bytes as `not MIDI: 90 3C`."""
    if message_fault(message):
        return f"not MIDI: {_shortened(message)}"
    if message[0] == SYSEX:
        return f"sysex {_shortened(message)}"
    return format_message(message, naming)


def _shortened(message: bytes) -> str:
    """Bytes in hex; of a long message the beginning, which has the maker's number, and the length."""
    if len(message) <= _MOST_WHOLE:
        return in_hex(message)
    return f"{in_hex(message[:_MOST_SHOWN])} ... ({len(message):,} bytes)"


class SteadyMessages:
    """What one port sends all the time: clock, active sensing, time code. Times are nanoseconds."""

    def __init__(self) -> None:
        self._clock = ClockReading()
        self._clocks = 0
        self._told_bpm: float | None = None
        self._told_at = -NANOSECONDS_PER_SECOND
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
        return "active sensing" if status == ACTIVE_SENSING else "time code"

    def _tempo(self, now: int) -> str:
        """The tempo, once a beat of it was heard, and when it has become another; not more than once a second."""
        bpm = self._clock.bpm(now) if self._clocks > CLOCKS_A_BEAT else None
        if bpm is None or now - self._told_at < NANOSECONDS_PER_SECOND:
            return ""
        if self._told_bpm is not None and abs(bpm - self._told_bpm) < self._told_bpm * _NOTICEABLE:
            return ""
        self._told_bpm, self._told_at = bpm, now
        return f"clock at {bpm:.1f} BPM"

    def fall_silent(self, now: int) -> list[str]:
        """Return what has ticked, and ticks no more."""
        silent = [status for status, heard in self._heard.items() if now - heard > SILENCE_NS]
        for status in silent:
            del self._heard[status]
        if CLOCK in silent:
            self._told_bpm, self._told_at, self._clocks, self._clock = None, -NANOSECONDS_PER_SECOND, 0, ClockReading()
        words = {CLOCK: "clock ended", ACTIVE_SENSING: "active sensing ended", MTC: "time code ended"}
        return [words[status] for status in silent]
