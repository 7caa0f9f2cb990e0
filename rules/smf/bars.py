"""Bars and beats of a file: where a tick is, as players count.

Bars and beats count from 1. A time signature (FF 58) says how many beats a bar has and which note a beat is; without
one it is four quarter notes. One that comes within a bar begins a new one.

Source: Standard MIDI Files 1.0 (RP-001), "Time Signature"; that a bar begins there is common practice, no source.
"""

from __future__ import annotations

from bisect import bisect_right
from collections.abc import Iterable
from typing import Final, NamedTuple

from rules.smf.midi_file import MidiFile
from rules.smf.track_events import META, content

TIME_SIGNATURE: Final = 0x58
_FOUR_QUARTERS: Final = (4, 2)


class Beat(NamedTuple):
    """A place in the music: bar and beat, both from 1."""

    bar: int
    beat: int


class BarMap:
    """The bars of a file with `division` ticks a quarter note; `changes` are (tick, beats a bar, power of the beat).

    The beat is a 2 ** power-th of a whole note. Of several changes at one tick the last one counts.
    """

    def __init__(self, division: int, changes: Iterable[tuple[int, int, int]] = ()) -> None:
        self._whole = 4 * division
        by_tick: dict[int, tuple[int, int]] = {0: _FOUR_QUARTERS}
        for tick, beats, power in sorted(changes, key=lambda change: change[0]):
            by_tick[tick] = (beats, power)
        self._starts = list(by_tick)
        self._signatures = list(by_tick.values())
        self._bars = [1]
        for start, until, (beats, power) in zip(self._starts, self._starts[1:], self._signatures, strict=False):
            ticks_of_bar = beats * self._whole
            self._bars.append(self._bars[-1] - (-((until - start) << power) // ticks_of_bar))

    def beat_at(self, tick: int) -> Beat:
        """Return the bar and beat in which a tick (0 and up) is."""
        at = bisect_right(self._starts, tick) - 1
        beats, power = self._signatures[at]
        passed = ((tick - self._starts[at]) << power) // self._whole
        return Beat(self._bars[at] + passed // beats, passed % beats + 1)

    def tick_of(self, place: Beat) -> int:
        """Return the tick at which a beat begins. Raises ValueError if there is no such beat, in words."""
        if place.bar < 1:
            raise ValueError("bars count from 1")
        if place.beat < 1:
            raise ValueError("beats count from 1")
        at = max(0, bisect_right(self._bars, place.bar) - 1)
        beats, power = self._signatures[at]
        passed = (place.bar - self._bars[at]) * beats + place.beat - 1
        tick = self._starts[at] - (-(passed * self._whole) >> power)
        if self.beat_at(tick) != place:
            raise ValueError(f"there is no beat {place.beat} in bar {place.bar}: it has {_counted(beats)}")
        return tick

    def end_of(self, place: Beat) -> int:
        """Return the tick at which a beat ends: where the next one begins, or a time signature cuts it short."""
        begin = self.tick_of(place)
        at = bisect_right(self._starts, begin) - 1
        _, power = self._signatures[at]
        passed = ((begin - self._starts[at]) << power) // self._whole + 1
        end = self._starts[at] - (-(passed * self._whole) >> power)
        return min([end, *self._starts[at + 1 : at + 2]])


def _counted(beats: int) -> str:
    return "1 beat" if beats == 1 else f"{beats} beats"


def bar_map(file: MidiFile) -> BarMap | None:
    """Return the bars of a file; None where its time is that of SMPTE frames, which have none."""
    if file.division & 0x8000:
        return None
    return BarMap(file.division, _changes(file))


def _changes(file: MidiFile) -> Iterable[tuple[int, int, int]]:
    """The time signatures of all tracks; what is no bar, such as 0 beats, doesn't count."""
    for track in file.tracks:
        for tick, _, _, _, message in file.events(track):
            if message[0] == META and message[1] == TIME_SIGNATURE:
                beats, power = (*content(message)[:2], 0, 0)[:2]
                if beats and power < 8 and len(content(message)) > 1:
                    yield tick, beats, power
