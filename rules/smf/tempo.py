"""From ticks to milliseconds and back, exactly: fractions throughout, rounded once, to the nearest tick, half up.

A division with bit 15 clear counts ticks a quarter note, and tempo events (FF 51) say how long a quarter lasts; without
one it is 500,000 microseconds. With bit 15 set the division counts ticks of a SMPTE frame, and tempo plays no part.

Source: Standard MIDI Files 1.0 (RP-001), "Header Chunks", "Formats", "Set Tempo", "Calculating Delta Times"; that 30
drop frame runs at 30,000/1,001 frames a second is common practice.
"""

from __future__ import annotations

from array import array
from bisect import bisect_right
from collections.abc import Iterable
from fractions import Fraction
from functools import lru_cache
from typing import Final, TypeAlias

from rules.smf.chunks import Track
from rules.smf.midi_file import MidiFile
from rules.smf.track_events import META, SET_TEMPO, content

Number: TypeAlias = int | float | Fraction
"""A float counts as the decimal number that it prints as: 0.1 is a tenth."""

DEFAULT_TEMPO: Final = 500_000
"""Microseconds a quarter note: 120 BPM, until a tempo event says otherwise."""

DROP_FRAME: Final = 29


class TempoMap:
    """The time of one file, or of one pattern of a format 2 file.

    `division` is the raw 16 bits of the header, `changes` are (tick, microseconds a quarter note) in any order, of
    which the last of several at one tick counts. `bpm` gives a beat its length where the division is SMPTE.
    """

    # Time is a whole number: after `tick` ticks of segment i it is `_times[i] + tick * _paces[i]`, in microseconds
    # times `_scale`. That keeps every position exact.
    __slots__ = ("_beat", "_paces", "_scale", "_starts", "_times")

    def __init__(self, division: int, changes: Iterable[tuple[int, int]] = (), bpm: Number = 120) -> None:
        self._starts = array("q", [0])
        self._paces = array("q", [DEFAULT_TEMPO])
        if division & 0x8000:
            frames, seconds = _frame_rate(256 - (division >> 8))
            self._scale = frames * (division & 0xFF)
            self._paces[0] = seconds * 1_000_000
            self._beat = Fraction(60 * self._scale, seconds) / _exact(bpm)
        else:
            self._scale = division
            self._beat = Fraction(division)
            self._enter(changes)
        if not self._scale:
            raise ValueError(f"division {division:04X} has no ticks")
        self._times = [0]
        for index in range(1, len(self._starts)):
            length = self._starts[index] - self._starts[index - 1]
            self._times.append(self._times[-1] + length * self._paces[index - 1])

    def _enter(self, changes: Iterable[tuple[int, int]]) -> None:
        """Enter tempo changes by tick. A file can have hundreds of thousands, so each is kept as two plain numbers."""
        ticks, tempos = array("q"), array("q")
        in_order = True
        for tick, tempo in changes:
            in_order = in_order and (not ticks or ticks[-1] <= tick)
            ticks.append(tick)
            tempos.append(tempo)
        order = range(len(ticks)) if in_order else sorted(range(len(ticks)), key=ticks.__getitem__)
        for place in order:
            if ticks[place] == self._starts[-1]:
                self._paces[-1] = tempos[place]
            elif tempos[place] != self._paces[-1]:
                self._starts.append(ticks[place])
                self._paces.append(tempos[place])

    def milliseconds(self, tick: int) -> Fraction:
        """Return the time of `tick` (0 and up) in milliseconds from the start."""
        return Fraction(self._time(tick), 1000 * self._scale)

    def ticks_after(self, tick: int, ms: Number = 0, beats: Number = 0) -> int:
        """Return the tick that lies `ms` milliseconds and then `beats` quarter notes after `tick`; none is negative."""
        up, down = _ratio(ms)
        ticks, tick_parts = _ratio(beats)
        if up:
            # target = time + ms * 1000 * scale, both times `down`
            target = self._time(tick) * down + up * 1000 * self._scale
            index = bisect_right(self._times, target // down) - 1
            up = target - self._times[index] * down
            down *= self._paces[index]
            tick = self._starts[index]
        if ticks:
            ticks *= self._beat.numerator
            tick_parts *= self._beat.denominator
            up = up * tick_parts + ticks * down
            down *= tick_parts
        return tick + (2 * up + down) // (2 * down)

    def _time(self, tick: int) -> int:
        index = bisect_right(self._starts, tick) - 1
        return self._times[index] + (tick - self._starts[index]) * self._paces[index]


def tempo_map(file: MidiFile, track: Track | None = None, bpm: Number = 120) -> TempoMap:
    """Return the time of `file`: the tempo events of all its tracks count; in a format 2 file only those of `track`."""
    if file.division & 0x8000:
        return TempoMap(file.division, (), bpm)
    tracks = file.tracks if track is None or file.format != 2 else (track,)
    return TempoMap(file.division, (change for each in tracks for change in _changes(file, each)), bpm)


def _changes(file: MidiFile, track: Track) -> Iterable[tuple[int, int]]:
    """The tempo changes of a track; shorter ones than three bytes and a tempo of 0 say nothing and don't count."""
    if file.data.find(b"\xff\x51", track.body, track.end) < 0:
        return
    for tick, _, _, _, message in file.events(track):
        if message[0] == META and message[1] == SET_TEMPO:
            tempo = content(message)[:3]
            if len(tempo) == 3 and any(tempo):
                yield tick, int.from_bytes(tempo)


def _frame_rate(named: int) -> tuple[int, int]:
    return (30_000, 1_001) if named == DROP_FRAME else (named, 1)


def _exact(number: Number) -> Fraction:
    return Fraction(repr(number)) if isinstance(number, float) else Fraction(number)


@lru_cache(maxsize=1024)
def _ratio(number: Number) -> tuple[int, int]:
    exact = _exact(number)
    if exact < 0:
        raise ValueError(f"{number} is in the past: 0 and more is allowed")
    return exact.numerator, exact.denominator
