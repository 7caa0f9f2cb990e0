"""What a take sends, from a bar on, in a loop, with clock and transport: one thing after the other (ruling 37)."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from fractions import Fraction
from heapq import merge
from itertools import count
from typing import Final, NamedTuple

from rules.midi.messages import CLOCK, CONTINUE, SONG_POSITION, START, STOP
from rules.playback.earlier_settings import EarlierSettings
from rules.playback.held_values import HeldValues, SourceMessage
from rules.playback.positions import ClockTempo, OwnTempo, Positions, counts_beats
from rules.playback.take_messages import TakeMessages
from rules.smf.bars import BarMap, Beat, bar_map
from rules.smf.midi_file import MidiFile
from rules.smf.tempo import tempo_map
from rules.timing.delays import NANOSECONDS_PER_MS
from rules.timing.midi_clock import CLOCKS_A_BEAT

CLOCK_SOURCE: Final = 0
"""The source that sends the clock of a take: the one that its other tracks play as."""

_CLOCKS_A_SIXTEENTH: Final = 6
_LAST_SONG_POSITION: Final = 16_383
_TIME_FOR_A_SETTING_NS: Final = NANOSECONDS_PER_MS
"""About what a message of three bytes takes on a DIN cable: so much later begins what is played with the settings."""


class Mark(NamedTuple):
    """A place of the take that is passed: its bar (0 where it has none), and its time in the take (s)."""

    bar: int
    seconds: float


class Piece(NamedTuple):
    """What comes at a position: a message of a source, or a mark."""

    position: int
    source: int
    message: bytes
    mark: Mark | None = None


@dataclass(frozen=True, slots=True)
class Part:
    """The part of a take that is played, in ticks: from `begin` to its end; or up to `loop_end`, and then again from
    `loop_begin`."""

    begin: int = 0
    loop_begin: int = 0
    loop_end: int | None = None


class PlayableTake:
    """A file, ready to be played; `sources` has the number of each track's source.

    `by_clock`: its positions are for the tempo of a clock, and it sends none itself. Raises MidiFileError for what
    can't be read, ValueError, in words, for a file without beats `by_clock`.
    """

    def __init__(self, file: MidiFile, sources: Iterable[int], *, by_clock: bool, sends_clock: bool = True) -> None:
        self.messages = TakeMessages(file, list(sources))
        self.bars = bar_map(file)
        self.times = tempo_map(file)
        self._own_tempo = OwnTempo(self.times)
        self._division = file.division
        if by_clock and not counts_beats(file):
            raise ValueError("it counts its time in frames, so it has no beats for a clock")
        self.by_clock = by_clock
        self._positions: Positions = ClockTempo(file.division) if by_clock else self._own_tempo
        self._sends_clock = sends_clock and not by_clock and counts_beats(file) and not self.messages.has_clockwork

    @property
    def end(self) -> int:
        """The tick at which it ends."""
        return self.messages.end

    @property
    def seconds(self) -> float:
        """How long it is by its own tempo."""
        return self.seconds_at(self.end)

    def seconds_at(self, tick: int) -> float:
        """The time (s) of a tick by its own tempo."""
        return float(self.times.milliseconds(tick)) / 1000

    @property
    def last_bar(self) -> int:
        """The bar in which it ends; 0 where it has no bars."""
        return 0 if self.bars is None else self.bars.beat_at(max(0, self.end - 1)).bar

    def bar_begin(self, bar: int) -> int:
        """Return the tick at which a bar begins. Raises ValueError, in words."""
        return self._bars_with(bar).tick_of(Beat(bar, 1))

    def bar_end(self, bar: int) -> int:
        """Return the tick at which a bar ends, the last one in its full length. Raises ValueError, in words."""
        return self._bars_with(bar).tick_of(Beat(bar + 1, 1))

    def _bars_with(self, bar: int) -> BarMap:
        if self.bars is None:
            raise ValueError("it counts its time in frames, so it has no bars")
        if not 1 <= bar <= self.last_bar:
            raise ValueError(f"there is no bar {bar}: it ends in bar {self.last_bar}")
        return self.bars

    def play(self, part: Part) -> Iterator[Piece]:
        """Yield what is sent, by position; without end where a part is looped."""
        begin, position = part.begin, 0
        held = HeldValues()
        before = self._settings_before(begin)
        yield from (Piece(0, *setting) for setting in before)
        if not self.by_clock:
            position = len(before) * _TIME_FOR_A_SETTING_NS
        yield from self._transport(begin, position)
        for turn in count():
            end = part.loop_end if part.loop_end is not None else self.end + 1
            offset = position - self._positions.at(Fraction(begin))
            if turn:
                yield from (Piece(position, *setting) for setting in self._settings_before(begin))
            for tick, source, message, mark in self._happening(begin, end):
                if mark is None:
                    held.note(source, message)
                yield Piece(offset + self._positions.at(tick), source, message, mark)
            last = end if part.loop_end is not None else self.end
            position = offset + self._positions.at(Fraction(last))
            yield from (Piece(position, *release) for release in held.let_go())
            if part.loop_end is None:
                break
            begin = part.loop_begin
        if self._sends_clock:
            yield Piece(position, CLOCK_SOURCE, bytes((STOP,)))

    def _settings_before(self, begin: int) -> list[SourceMessage]:
        settings = EarlierSettings()
        for _, source, message in self.messages.between(0, begin):
            settings.note(source, message)
        return settings.messages()

    def _transport(self, begin: int, position: int) -> Iterator[Piece]:
        """Start at the beginning, or from elsewhere the song position, in sixteenth notes, and continue."""
        if not self._sends_clock:
            return
        if begin:
            sixteenths = begin * CLOCKS_A_BEAT // (self._division * _CLOCKS_A_SIXTEENTH)
            place = min(sixteenths, _LAST_SONG_POSITION)
            yield Piece(position, CLOCK_SOURCE, bytes((SONG_POSITION, place & 0x7F, place >> 7)))
        yield Piece(position, CLOCK_SOURCE, bytes((CONTINUE if begin else START,)))

    def _happening(self, begin: int, end: int) -> Iterator[tuple[Fraction, int, bytes, Mark | None]]:
        """Yield, by tick: marks first, then clock, then what the take holds."""
        streams: list[Iterator[tuple[Fraction, int, int, bytes, Mark | None]]] = [
            ((Fraction(tick), 0, 0, b"", mark) for tick, mark in self._marks(begin, end)),
            ((Fraction(tick), 2, source, message, None) for tick, source, message in self.messages.between(begin, end)),
        ]
        if self._sends_clock:
            clock = bytes((CLOCK,))
            streams.append(
                (tick, 1, CLOCK_SOURCE, clock, None) for tick in self._clock_ticks(begin, min(end, self.end))
            )
        for tick, _, source, message, mark in merge(*streams, key=lambda each: each[:2]):
            yield tick, source, message, mark

    def _clock_ticks(self, begin: int, end: int) -> Iterator[Fraction]:
        """Yield where the clock messages are: 24 a quarter note, counted from the beginning of the file."""
        first = -(-begin * CLOCKS_A_BEAT // self._division)
        for number in count(first):
            tick = Fraction(number * self._division, CLOCKS_A_BEAT)
            if tick >= end:
                return
            yield tick

    def _marks(self, begin: int, end: int) -> Iterator[tuple[int, Mark]]:
        """Yield each beat, and the beginning; where a file has no beats, each second."""
        tick = begin
        while tick < min(end, self.end + 1):
            yield tick, Mark(self._bar(tick), self.seconds_at(tick))
            tick = self._next_mark(tick)

    def _bar(self, tick: int) -> int:
        return 0 if self.bars is None else self.bars.beat_at(tick).bar

    def _next_mark(self, tick: int) -> int:
        if self.bars is None:
            return max(tick + 1, self.times.ticks_after(tick, 1000))
        return max(tick + 1, self.bars.end_of(self.bars.beat_at(tick)))


def loop_part(take: PlayableTake, from_bar: int | None, bars: tuple[int, int] | None, *, loops: bool) -> Part:
    """Return what is played: from a bar, `bars` (first and last) in a loop, or with `loops` all up to its last bar.

    Raises ValueError, in words.
    """
    if bars is not None:
        loop_begin, loop_end = take.bar_begin(bars[0]), take.bar_end(bars[1])
        begin = take.bar_begin(from_bar) if from_bar is not None else loop_begin
        if begin >= loop_end:
            raise ValueError(f"bar {from_bar} is behind the loop, which ends with bar {bars[1]}")
        return Part(begin, loop_begin, loop_end)
    begin = take.bar_begin(from_bar) if from_bar is not None else 0
    if not loops:
        return Part(begin)
    end = take.bar_end(take.last_bar) if take.bars is not None else take.end
    if end <= 0:
        raise ValueError("it has no length, so it can't be looped")
    return Part(begin, 0, end)
