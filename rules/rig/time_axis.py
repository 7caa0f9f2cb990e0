"""The time below a take: numbers of bars with minutes and seconds; seconds alone where the file has no bars."""

from __future__ import annotations

import itertools
from collections.abc import Callable, Iterator
from typing import Final, NamedTuple

from rules.smf.bars import BarMap, Beat, bar_map
from rules.smf.midi_file import MidiFile
from rules.smf.tempo import TempoMap, tempo_map

_PARTS: Final = (1, 2, 5, 10, 20, 30)
_SECONDS: Final = (*_PARTS, *(60 * part for part in _PARTS), *(3600 * 2**power for power in range(20)))
_MOST_MARKS: Final = 20


class TimeMark(NamedTuple):
    """A line of the grid: its tick, the number of its bar, and its time."""

    tick: int
    name: str
    time: str


class TimeAxis:
    """The time of a recording, in bars where it has them. `unit` is what is counted besides seconds; "" for nothing."""

    def __init__(self, file: MidiFile, bpm: float) -> None:
        self._times: TempoMap = tempo_map(file, None, bpm)
        self._bars: BarMap | None = bar_map(file)
        self.unit = "bar" if self._bars is not None else ""

    def marks(self, end: int, width: Callable[[str], float]) -> list[TimeMark]:
        """Return the marks up to a tick: as many as have room. `width` is how many ticks a text takes."""
        chosen: list[TimeMark] = []
        for marks in self._choices(end):
            widest = max(width(f"{text}  ") for mark in marks for text in (mark.name, mark.time))
            chosen = [mark for at, mark in enumerate(marks) if not at or mark.tick + widest <= end]
            if all(later.tick - mark.tick >= widest for mark, later in itertools.pairwise(chosen)):
                break
        return chosen

    def _choices(self, end: int) -> Iterator[list[TimeMark]]:
        """Yield marks further and further apart, until there is one alone."""
        if self._bars is not None:
            length = self._bars.beat_at(max(end - 1, 0)).bar
        else:
            length = int(self._times.milliseconds(end) / 1000) + 1
        for step in _SECONDS if self._bars is None else (2**power for power in itertools.count()):
            if length <= _MOST_MARKS * step:
                yield [self._mark(number) for number in range(0, length, step)]
            if step >= length:
                return

    def _mark(self, number: int) -> TimeMark:
        """The mark of a bar, counted from 0, or of a second."""
        if self._bars is None:
            tick = self._times.ticks_after(0, ms=1000 * number)
            return TimeMark(tick, "", self._time(tick))
        tick = self._bars.tick_of(Beat(number + 1, 1))
        return TimeMark(tick, str(number + 1), self._time(tick))

    def _time(self, tick: int) -> str:
        minutes, seconds = divmod(round(self._times.milliseconds(tick) / 1000), 60)
        return f"{minutes}:{seconds:02d}"
