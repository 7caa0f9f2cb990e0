"""Positions of a take: nanoseconds by its own tempo, or parts of a quarter note by a clock's."""

from __future__ import annotations

from fractions import Fraction
from typing import Final, Protocol

from rules.smf.midi_file import MidiFile
from rules.smf.tempo import TempoMap
from rules.timing.delays import NANOSECONDS_PER_MS
from rules.timing.midi_clock import CLOCKS_A_BEAT

PARTS_A_CLOCK: Final = 1_000_000
"""Positions by a clock count millionths of the time from one clock message to the next, 24 of which are a quarter
note."""


class Positions(Protocol):
    """Turns ticks of a file into positions from its beginning, which never decrease as ticks grow."""

    def at(self, tick: Fraction) -> int:
        """The position of a tick, or of a fraction between two."""


class OwnTempo:
    """Positions in nanoseconds, by the tempo that the file holds."""

    def __init__(self, times: TempoMap) -> None:
        self._times = times

    def at(self, tick: Fraction) -> int:
        """The time (ns) of a tick."""
        whole = tick.numerator // tick.denominator
        ms = self._times.milliseconds(whole)
        if tick.denominator > 1:
            ms += (self._times.milliseconds(whole + 1) - ms) * (tick - whole)
        return round(ms * NANOSECONDS_PER_MS)


class ClockTempo:
    """Positions in `PARTS_A_CLOCK`, for a file with `division` ticks a quarter note."""

    def __init__(self, division: int) -> None:
        self._parts = CLOCKS_A_BEAT * PARTS_A_CLOCK
        self._division = division

    def at(self, tick: Fraction) -> int:
        """The position of a tick."""
        return tick.numerator * self._parts // (tick.denominator * self._division)


def counts_beats(file: MidiFile) -> bool:
    """Return whether the ticks of a file are parts of a quarter note, not of a SMPTE frame."""
    return not file.division & 0x8000
