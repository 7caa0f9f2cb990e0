"""The clocks of sources, and which of them sets the tempo (ruling 29)."""

from __future__ import annotations

from fractions import Fraction

from rules.timing.midi_clock import ClockReading

MS = 1_000_000


class HeardClocks:
    """What has come of each player's clock, as far as beats may go by it."""

    def __init__(self) -> None:
        self._times: dict[int, list[int]] = {}
        self._readings: dict[int, ClockReading] = {}
        self._setting: int | None = None

    def hear(self, player: int, now: int, beat: Fraction) -> Fraction | None:
        """A clock message. Where it tells of another tempo than the one of this `beat`, the beat is returned.

        The tempo is read at some of them, if this clock is the one that counts.
        """
        times, reading = self._times.setdefault(player, []), self._readings.setdefault(player, ClockReading())
        reading.tick(now)
        times.append(now)
        del times[: -reading.clocks]  # those since it began, or changed its pace
        if self.running(now)[:1] != [player] or len(times) < 6:
            return None
        has_taken_over, self._setting = self._setting != player, player
        if not has_taken_over and len(times) not in (6, 12) and len(times) % 24:
            return None
        told = reading.beat(now)
        return None if told is None or Fraction(499, 500) <= told / beat <= Fraction(501, 500) else told

    def running(self, now: int) -> list[int]:
        """The players whose clocks run, in the order in which they count."""
        return [
            player
            for player, times in sorted(self._times.items())
            if len(times) > 1 and now - times[-1] <= 500 * MS and times[-1] > times[0]
        ]

    def forget(self, player: int) -> None:
        """A clock has stopped, or doesn't count any more."""
        self._times.pop(player, None)
        self._readings.pop(player, None)
        if self._setting == player:
            self._setting = None

    def pace(self, player: int) -> Fraction | None:
        """From one clock message to the next (ns); None as long as nobody can tell, after fewer than six."""
        reading = self._readings.get(player)
        return None if reading is None or len(self._times[player]) < 6 else reading.interval or None

    def expected(self, player: int) -> int:
        """When its next clock message should come, where its pace is known."""
        return self._readings[player].next_clock
