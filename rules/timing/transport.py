"""Where a song is, by the clock and transport messages that are sent for it.

The clock message that follows a start is the first beat, and each later one is a 24th of a quarter note further. After
a stop the song waits where it is, until it is continued (MIDI 1.0 Detailed Specification 4.2.1, p. 27-30).
"""

from __future__ import annotations

from fractions import Fraction
from typing import Final

from rules.midi.messages import CLOCK, CONTINUE, SONG_POSITION, START, STOP
from rules.timing.midi_clock import CLOCKS_A_BEAT

CLOCKS_A_SIXTEENTH: Final = CLOCKS_A_BEAT // 4
"""The unit of a song position: six clock messages."""


class Transport:
    """Whether a song runs, and which clock message of it comes next (from 0).

    `is_known` says whether any start or song position has said where the song is; else it was continued somewhere.
    """

    __slots__ = ("_heard", "is_known", "is_running", "next_clock")

    def __init__(self) -> None:
        self.is_running = False
        self.is_known = False
        self.next_clock = 0
        self._heard: int | None = None

    def hear(self, message: bytes, now: int) -> None:
        """Take in a message (ns). What is neither clock, transport nor song position changes nothing."""
        status = message[0]
        if status == CLOCK:
            if self.is_running:
                self.next_clock += 1
                self._heard = now
            return
        if status == START:
            self.is_known, self.next_clock = True, 0
        elif status == SONG_POSITION:
            self.is_known, self.next_clock = True, (message[1] | message[2] << 7) * CLOCKS_A_SIXTEENTH
        if status in (START, CONTINUE, STOP):
            self.is_running = status != STOP
            self._heard = None

    def beats(self, now: int, beat: Fraction) -> float | None:
        """Return how many quarter notes the song is from its start, where one takes `beat` (ns); None if unknown."""
        if not self.is_known:
            return None
        if self._heard is None or not self.is_running:
            return self.next_clock / CLOCKS_A_BEAT
        since = min(Fraction(1), (now - self._heard) * CLOCKS_A_BEAT / beat)
        return float((self.next_clock - 1 + since) / CLOCKS_A_BEAT)
