"""Where beats fall in a recording: moments of a performance as ticks, so that the beats of a clock lie on the grid.

A clock sends 24 messages a quarter note; after `start`, its next clock is beat 0, and a song position counts
sixteenths (MIDI 1.0 Detailed Specification 4.2.1, p. 27-30). From one beat to the next the tempo is taken as steady,
and over as many beats as one tempo explains: clocks come as much too late as the computer makes them (`blur_of`).
Where no clock runs, the tempo of the last beat holds, or our own; a stretch between two runs of a clock gets whole
beats, whole bars of four where they nearly fit, at the tempo that fills it. So the file plays as long as the
performance took.
"""

from __future__ import annotations

from bisect import bisect_right
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from math import isqrt
from typing import Final

from rules.midi.messages import CLOCK, CONTINUE, SONG_POSITION, START
from rules.timing.delays import NANOSECONDS_PER_MINUTE, NEVER
from rules.timing.midi_clock import CLOCKS_A_BEAT, SILENCE_NS

TICKS_A_BEAT: Final = 960

_CLOCKS_A_SIXTEENTH: Final = 6
_BEATS_A_BAR: Final = 4
_LONGEST_BEAT_US: Final = (1 << 24) - 1  # what a tempo event can hold (RP-001, "Set Tempo")
_SHORTEST_BEAT_NS: Final = 60_000_000  # 1000 BPM
_MOST_STRETCH: Final = 10  # a stretch may change by 1/10 to become whole bars
_LEAST_BLUR_NS: Final = 1_000_000
_MOST_BLUR_NS: Final = 25_000_000  # a period of 1,024 frames, and a bit
_SPREAD: Final = 5  # times the mean, which is far less than the most: a clock is late now and then only


@dataclass(frozen=True, slots=True)
class Tempo:
    """A tempo from a tick on, in microseconds a quarter note."""

    tick: int
    beat: int


def beat_runs(clock: Iterable[tuple[int, bytes]]) -> list[list[int]]:
    """The moments of beats, from what one clock source sent as (time in ns, message).

    Within a run every beat has its 24 clocks; a run ends where the clock falls silent or starts again. Clocks that come
    in one burst, as after a computer stood still, make no beat of their own: none is shorter than `_SHORTEST_BEAT_NS`.
    """
    runs: list[list[int]] = [[]]
    count = 0
    before: int | None = None
    jumped = False
    beat_at = -_SHORTEST_BEAT_NS
    for time, message in clock:
        status = message[0]
        if status == START:
            count, jumped = 0, True
        elif status == SONG_POSITION:
            count, jumped = (message[1] | message[2] << 7) * _CLOCKS_A_SIXTEENTH, True
        elif status == CONTINUE:
            jumped = True
        elif status == CLOCK:
            if runs[-1] and (jumped or (before is not None and time - before > SILENCE_NS)):
                runs.append([])
            jumped, before = False, time
            if count % CLOCKS_A_BEAT == 0 and time - beat_at >= _SHORTEST_BEAT_NS:
                runs[-1].append(time)
                beat_at = time
            count += 1
    return [run for run in runs if run]


def blur_of(clock: Iterable[tuple[int, bytes]]) -> int:
    """Return how far (ns) the clocks of a source are from a steady pace: up to one period of a sound server.

    That is seen where a clock comes later than the one before and the one behind it let expect.
    """
    times = [time for time, message in clock if message[0] == CLOCK]
    total = sum(
        min(abs(one - 2 * middle + other), _MOST_BLUR_NS) ** 2
        for one, middle, other in zip(times, times[1:], times[2:], strict=False)
    )
    return min(max(_SPREAD * isqrt(total // max(len(times) - 2, 1)), _LEAST_BLUR_NS), _MOST_BLUR_NS)


def _steady(run: Sequence[int], blur: int) -> Iterator[tuple[int, int]]:
    """Return where (ns) stretches of one tempo end in the beats of a run, and how many beats each has.

    No beat lies further than `blur` (ns) from where it came.
    """
    begin, first = run[0], 0
    while first < len(run) - 1:
        low, high = 0, NEVER  # of a beat, in ns times the beats of the stretch
        last = first
        while last < len(run) - 1:
            beats = last + 1 - first
            early, late = -((begin - run[last + 1] + blur) // beats), (run[last + 1] - begin + blur) // beats
            if max(low, early) > min(high, late):
                break
            low, high, last = max(low, early), min(high, late), last + 1
        begin += _roundest(low, high) * (last - first)
        yield begin, last - first
        first = last


def _roundest(low: int, high: int) -> int:
    """A beat (ns) in a range, of the roundest tempo: whole beats a minute, else tenths or hundredths."""
    middle = (low + high) // 2
    for parts in (1, 10, 100):
        tempo = (2 * parts * NANOSECONDS_PER_MINUTE + middle) // (2 * middle)
        if tempo and low <= (beat := parts * NANOSECONDS_PER_MINUTE // tempo) <= high:
            return beat
    return middle


class Grid:
    """Turns moments into ticks. `begin` is the first moment (ns) that will be asked for, `beat` our own quarter note
    (ns) for where no clock has run, and `runs` are the beats of a clock, each up to `blur` (ns) early or late.

    `start` is the moment of tick 0: the first beat of a clock begins a bar, so that silence may come before `begin`.
    """

    def __init__(self, begin: int, beat: int, runs: Iterable[list[int]] = (), blur: int = 0) -> None:
        self._free = beat
        self._times = [begin]
        self._beats = [0]
        run: list[int] = []
        for run in runs:
            self._reach(run[0])
            for time, beats in _steady(run, blur):
                self._free = (time - self._times[-1]) // beats
                self._add(time, beats)
        self.start = self._times[0]
        if len(run) > 1:  # the tempo of the last beats goes on
            self._times[-1] += self._free
            self._beats[-1] += 1
        else:
            self._add(self._times[-1] + self._free, 1)

    def _add(self, time: int, beats: int) -> None:
        self._times.append(time)
        self._beats.append(self._beats[-1] + beats)

    def _reach(self, time: int) -> None:
        """Go on to the first beat of a run."""
        while len(self._times) > 1 and 2 * (time - self._times[-1]) < self._free:
            self._shorten()  # a short rest of a beat becomes part of the beat before it
        if len(self._times) > 1:
            self._add(time, _whole_beats(time - self._times[-1], self._free, self._beats[-1]))
            return
        beats = -(-(time - self._times[0]) // self._free)
        bars = beats + -beats % _BEATS_A_BAR
        self._times[0] = time - bars * self._free
        if bars:
            self._add(time, bars)

    def _shorten(self) -> None:
        """Take the last beat off the last stretch."""
        beats = self._beats[-1] - self._beats[-2]
        if beats == 1:
            self._times.pop()
            self._beats.pop()
        else:
            self._times[-1] -= (self._times[-1] - self._times[-2]) // beats
            self._beats[-1] -= 1

    def tick(self, time: int) -> int:
        """The tick of a moment (ns), the nearest one; never below 0."""
        place = min(max(bisect_right(self._times, time) - 1, 0), len(self._times) - 2)
        begin, span = self._times[place], self._times[place + 1] - self._times[place]
        ticks = (self._beats[place + 1] - self._beats[place]) * TICKS_A_BEAT
        return max(self._beats[place] * TICKS_A_BEAT + (2 * (time - begin) * ticks + span) // (2 * span), 0)

    def tempos(self) -> list[Tempo]:
        """The tempo from each beat on where it changes. Roundings don't add up: each makes good for the one before."""
        found: list[Tempo] = []
        played = 0  # microseconds
        for place in range(len(self._times) - 1):
            beats = self._beats[place + 1] - self._beats[place]
            due = (self._times[place + 1] - self.start + 500) // 1000
            beat = min(max((2 * (due - played) + beats) // (2 * beats), 1), _LONGEST_BEAT_US)
            played += beat * beats
            if not found or found[-1].beat != beat:
                found.append(Tempo(self._beats[place] * TICKS_A_BEAT, beat))
        return found


def _whole_beats(span: int, beat: int, behind: int) -> int:
    """Return how many beats fill a span of time, `behind` beats into the piece: up to a bar if that nearly fits."""
    bar = _BEATS_A_BAR * beat
    over = behind % _BEATS_A_BAR
    bars = (2 * (span + over * beat) + bar) // (2 * bar)
    beats = bars * _BEATS_A_BAR - over
    if beats > 0 and abs(beats * beat - span) * _MOST_STRETCH <= span:
        return beats
    return max((2 * span + beat) // (2 * beat), 1)
