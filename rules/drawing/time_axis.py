"""The time below a take: numbers of bars with minutes and seconds; seconds alone where the file has no bars."""

from __future__ import annotations

import itertools
from collections.abc import Callable, Iterator
from typing import Final, NamedTuple

from rules.smf.bars import BarMap, Beat, bar_map
from rules.smf.midi_file import MidiFile
from rules.smf.tempo import TempoMap, tempo_map

_STEPS: Final = (1, 2, 4, 8, 16, 32, 64, 128, 256, 512, 1024)
_SECONDS: Final = (1, 2, 5, 10, 20, 30, 60, 120, 300, 600, 1200, 1800, 3600)
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
        marks = [mark for mark in self._all_marks(end) if mark.tick <= end]
        for step in _STEPS:
            chosen = marks[::step]
            widest = max((width(f"{mark.name or mark.time}  ") for mark in chosen), default=0)
            widest = max(widest, max((width(f"{mark.time}  ") for mark in chosen), default=0))
            if len(chosen) <= _MOST_MARKS and all(
                later.tick - mark.tick >= widest for mark, later in itertools.pairwise(chosen)
            ):
                break
        while len(chosen) > 1 and chosen[-1].tick + widest > end:
            chosen = chosen[:-1]
        return chosen

    def _all_marks(self, end: int) -> Iterator[TimeMark]:
        if self._bars is not None:
            tick = 0
            for number in itertools.count(1):
                yield TimeMark(tick, str(number), self._time(tick))
                tick = self._bars.tick_of(Beat(number + 1, 1))
                if tick >= end:
                    return
        length = int(self._times.milliseconds(end) / 1000)
        step = next((step for step in _SECONDS if length / step <= _MOST_MARKS), _SECONDS[-1])
        for second in range(0, length + 1, step):
            tick = self._times.ticks_after(0, ms=1000 * second)
            yield TimeMark(tick, "", self._time(tick))

    def _time(self, tick: int) -> str:
        minutes, seconds = divmod(round(self._times.milliseconds(tick) / 1000), 60)
        return f"{minutes}:{seconds:02d}"
