"""When the clock messages of a tempo are due: an exact grid, on which no rounding adds up."""

from __future__ import annotations

from fractions import Fraction
from typing import Final

from rules.timing.midi_clock import CLOCKS_A_BEAT

_FINEST: Final = 1 << 16
"""Parts of a nanosecond. Each change of tempo would give the times a longer denominator, without end."""

_HALF: Final = Fraction(1, 2)


class ClockGrid:
    """Clock messages one after the other, 24 a quarter note of `beat` ns; the `first` is due at a time (ns)."""

    __slots__ = ("_has_begun", "_interval", "_next", "due")

    def __init__(self, beat: Fraction, first: int) -> None:
        self._interval = beat / CLOCKS_A_BEAT
        self._next = Fraction(first)
        self._has_begun = False
        self.due = first
        """When the next clock message is due (ns), to the nearest."""

    @property
    def interval(self) -> Fraction:
        """From one clock message to the next (ns)."""
        return self._interval

    def step(self) -> None:
        """Go on to the next clock message."""
        self._set_next(self._next + self._interval)

    def go_on(self, next_due: Fraction) -> None:
        """Take the place in the beat of another clock, whose next clock message was to come at a time (ns)."""
        self._set_next(next_due)

    def change(self, beat: Fraction, now: int) -> None:
        """Take another tempo from `now` on. The phase stays: what is left of the interval shrinks or grows with it.

        The first clock message stays where it is.
        """
        interval = beat / CLOCKS_A_BEAT
        if not self._has_begun:
            self._interval = interval
        elif interval != self._interval:
            left = max(Fraction(0), self._next - now) * interval / self._interval
            self._interval = interval
            self._set_next(now + Fraction(round(left * _FINEST), _FINEST))

    def skip_to(self, now: int) -> None:
        """Leave out the clock messages that were due before `now`; the next one is due on the grid."""
        if self.due < now:
            self._set_next(self._next + -((self._next - now) // self._interval) * self._interval)

    def _set_next(self, time: Fraction) -> None:
        self._has_begun = True
        self._next = time
        self.due = int(time + _HALF)
