"""What each DIN connection carries through a recording, and what comes late because the wire is busy.

A recording is played through the rules as `rewrite` plays it. What the wire carries is compared with its speed of 3,125
bytes a second. A message is late by the time from when it is due until its first byte goes out.
"""

from __future__ import annotations

from collections import defaultdict, deque
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from fractions import Fraction
from typing import Final

from rules.midi.messages import END_OF_SYSEX
from rules.ports.pacing import is_urgent
from rules.program.pipeline import Pipeline
from rules.rig.din_queue import NANOSECONDS_A_BYTE, Queued, waits
from rules.rulefile.ruleset import RuleSet
from rules.smf.bars import Beat, bar_map
from rules.smf.midi_file import MidiFile
from rules.smf.report import Playing
from rules.smf.take_playing import PlayedMessage, played
from rules.smf.tempo import TempoMap, tempo_map
from rules.smf.track_sources import track_sources
from rules.timing.delays import NANOSECONDS_PER_MS, NANOSECONDS_PER_SECOND

_HALF: Final = Fraction(1, 2)


@dataclass(frozen=True, slots=True)
class TimedMessage:
    """A message at a DIN output: when it is due (ns from the beginning of the take) and how long it waits (ns)."""

    at: int
    wait: int
    message: bytes
    tick: int
    track: int


@dataclass(frozen=True, slots=True)
class DinLoad:
    """What one DIN output carries: its messages in the order of their times, and the length of the take (ns).

    `worst` is the message that waits longest, the first of them; None where nothing is sent. `beat` is where it is in
    the music, None where the file has no bars.
    """

    port: str
    messages: Sequence[TimedMessage]
    length: int
    worst: TimedMessage | None
    beat: Beat | None

    @property
    def size(self) -> int:
        """The bytes that it carries."""
        return sum(size_on_din(each.message) for each in self.messages)

    @property
    def busiest(self) -> tuple[float, int]:
        """The largest part of a second that the messages due within it need (1 is all of it), and its begin (ns)."""
        window: deque[TimedMessage] = deque()
        size = most = begin = 0
        for each in self.messages:
            window.append(each)
            size += size_on_din(each.message)
            while window[0].at <= each.at - NANOSECONDS_PER_SECOND:
                size -= size_on_din(window.popleft().message)
            if size > most:
                most, begin = size, window[0].at
        return most * NANOSECONDS_A_BYTE / NANOSECONDS_PER_SECOND, begin

    def loads(self, columns: int) -> list[float]:
        """The load of each of so many equal stretches of the take: 1 is all that the wire can carry."""
        sums = [0] * columns
        for each in self.messages:
            sums[self._column(each, columns)] += size_on_din(each.message) * NANOSECONDS_A_BYTE
        return [total * columns / self.length for total in sums]

    def waits(self, columns: int) -> list[int]:
        """The longest wait (ns) in each of so many equal stretches."""
        longest = [0] * columns
        for each in self.messages:
            at = self._column(each, columns)
            longest[at] = max(longest[at], each.wait)
        return longest

    def _column(self, each: TimedMessage, columns: int) -> int:
        return min(columns - 1, each.at * columns // self.length)


def din_loads(ruleset: RuleSet, pipeline: Pipeline, file: MidiFile, playing: Playing) -> list[DinLoad]:
    """The load of every DIN output, in file order, also of those that get nothing. Raises MidiFileError."""
    numbers = {pipeline.ports.index(name): name for name in ruleset.din_outputs}
    times = tempo_map(file, None, ruleset.bpm)
    sources = track_sources(file, playing, pipeline.sources)
    by_port: defaultdict[int, list[PlayedMessage]] = defaultdict(list)
    end = 0
    for each in played(file, sources, pipeline, times):
        end = max(end, each.tick)
        if each.port in numbers:
            by_port[each.port].append(each)
    length = max(1, nanoseconds_at(times, end))
    bars = bar_map(file)
    loads = []
    for number, name in numbers.items():
        messages = _timed(by_port[number], times)
        worst = max(messages, key=lambda each: each.wait, default=None)
        beat = bars.beat_at(worst.tick) if worst is not None and bars is not None else None
        loads.append(DinLoad(name, messages, length, worst, beat))
    return loads


def size_on_din(message: bytes) -> int:
    """Return how many bytes a message has on the wire: the F7 before an escape of a file isn't one of them."""
    return len(message) - (message[0] == END_OF_SYSEX)


def nanoseconds_at(times: TempoMap, tick: int) -> int:
    """The time of a tick from the beginning, to the nearest nanosecond, half up."""
    return int(times.milliseconds(tick) * NANOSECONDS_PER_MS + _HALF)


def _timed(messages: Iterable[PlayedMessage], times: TempoMap) -> list[TimedMessage]:
    """Return the messages of one output with their times and waits."""
    due = [(nanoseconds_at(times, each.tick), each) for each in messages]
    queued = [Queued(at, size_on_din(each.message), is_urgent(each.message)) for at, each in due]
    waited = dict(waits(queued))
    return [
        TimedMessage(at, waited[number], each.message, each.tick, each.track) for number, (at, each) in enumerate(due)
    ]
