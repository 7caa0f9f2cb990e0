"""The general route: every track a player of the engine, all tracks together in time - by tick, then by track."""

from __future__ import annotations

import heapq
from collections.abc import Iterator, Sequence
from fractions import Fraction

from rules.agenda import NEVER
from rules.books import Sent
from rules.engine import Engine
from rules.messages import SYSEX
from rules.pipeline import Pipeline
from rules.smf import sysex
from rules.smf.scanning import END_OF_TRACK, Event, TrackEvents, content
from rules.smf.score import Part, Score
from rules.smf.tempo import TempoMap, tempo_map
from rules.smf.writing import TrackWriter
from rules.tempo import Delay, Later

META = 0xFF


def run(score: Score, pipeline: Pipeline, bpm: float) -> None:
    """Plays the parts of a score and fills in their bodies. Raises MidiFileError.

    The tracks of a format 2 file are independent: each has an engine of its own.
    """
    parts = score.parts
    groups = [[part] for part in parts] if score.file.format == 2 else [parts]
    for group in groups:
        track = score.file.tracks[group[0].number]
        times = tempo_map(score.file, track, Fraction(str(bpm)))
        _Performance(score, group, Engine(pipeline, _later(times)), pipeline).play()


def _later(times: TempoMap) -> Later:
    def later(tick: int, delay: Delay) -> int:
        return times.ticks_after(tick, delay.ms, delay.beats)

    return later


class _Performance:
    """Some parts and the engine that plays them."""

    def __init__(self, score: Score, parts: Sequence[Part], engine: Engine, pipeline: Pipeline) -> None:
        self._score = score
        self._parts = parts
        self._engine = engine
        self._writers = [[TrackWriter(part.events.body) for _ in range(score.outputs)] for part in parts]
        self._tallies = [score.rules.cells(part.source) for part in parts]
        for part in parts:
            engine.add_player(pipeline.sources[part.source])
        # one file, one port, nothing put off: what comes out at once is all there is to write and to count
        self._is_plain = not score.per_port and len(pipeline.present) == 1 and not pipeline.nodes
        self._ends: list[Event | None] = [None] * len(parts)

    def play(self) -> None:
        """From the first event until nothing is pending any more."""
        engine, play = self._engine, self._play
        tick = 0
        for number, event in _in_time([part.events for part in self._parts]):
            tick = event[0]
            if engine.next_due <= tick:
                self._catch_up(tick)
            if event[4][0] == META:
                self._keep_meta(number, event)
            else:
                play(number, event)
        while engine.next_due < NEVER:
            tick = engine.next_due
            self._catch_up(tick)
        out: list[Sent] = []
        engine.settle(tick, out)
        self._write_new(out)
        self._finish()

    def _catch_up(self, tick: int) -> None:
        """Writes what is due by a tick."""
        out: list[Sent] = []
        self._engine.advance(tick, out)
        self._write_new(out)

    def _keep_meta(self, number: int, event: Event) -> None:
        if event[4][1] == END_OF_TRACK:
            self._ends[number] = event  # written last, in case a delay passes it
            return
        for writer in self._writers[number]:
            writer.keep(event)

    def _play(self, number: int, event: Event) -> None:
        """One message through the engine; what comes of it at once takes its place and its form."""
        tick, _, _, _, message = event
        status = message[0]
        if status >= SYSEX:
            message = message[:1] + content(message)
            index = (status & 0x7F) << 7
        else:
            index = (status << 7 | message[1]) & 0x3FFF
        hits, careful = self._tallies[number]
        if careful[index]:
            self._judge(number, index, message)
        else:
            hits[index] += 1
        out: list[Sent] = []
        engine = self._engine
        before = engine.scheduled
        engine.feed(number, message, tick, out)
        if len(out) == 1 and self._is_plain:
            _, data, _, owner = out[0]
            if owner == number:
                if data == message:
                    self._writers[number][0].keep(event)
                else:
                    self._score.counts.changed += 1
                    self._writers[number][0].put(tick, data, event)
                return
        self._write(number, message, event, out)
        self._count(number, message, out, engine.scheduled - before)

    def _judge(self, number: int, index: int, message: bytes) -> None:
        """Counts a message for rules that ask for its value or for switches."""
        second = message[2] if len(message) == 3 else 0
        self._score.rules.judge(self._parts[number].source, index, second, self._engine.word)

    def _count(self, number: int, message: bytes, out: Sequence[Sent], put_off: int) -> None:
        """What became of a message: only what it caused itself, not what it let go out of others."""
        counts = self._score.counts
        own = [data for _, data, _, owner in out if owner == number]
        made = len(own) + put_off
        if not made:
            counts.dropped += 1
        else:
            counts.changed += message not in own
            counts.added += made - 1

    def _write(self, number: int, message: bytes, event: Event, out: Sequence[Sent]) -> None:
        """Writes what came of an event at once, each in the track of its player."""
        lent: set[int] = set()
        for target, data, tick, owner in out:
            output = self._output(number, target, data, event)
            writer = self._writers[owner][output]
            if owner != number or output in lent:
                writer.put(tick, sysex.stored(data))
            elif data == message:
                writer.keep(event)
                lent.add(output)
            else:
                writer.put(tick, sysex.stored(data), event)
                lent.add(output)

    def _write_new(self, out: Sequence[Sent]) -> None:
        """Writes what came due; it has no event whose form it could have."""
        for target, data, tick, owner in out:
            output = self._output(owner, target, data, None)
            self._writers[owner][output].put(tick, sysex.stored(data))

    def _output(self, number: int, target: int, data: bytes, event: Event | None) -> int:
        """The output for a port; marks it used, and its channel taken."""
        if self._score.per_port:
            self._score.used.add(target)
            return target
        if data[0] < SYSEX:
            part = self._parts[number]
            self._score.claim(part, data[0], target, part.events.base + (event[1] if event is not None else 0))
        return 0

    def _finish(self) -> None:
        """The ends of the tracks, and what stands behind them."""
        for part, writers, end in zip(self._parts, self._writers, self._ends, strict=True):
            for writer in writers:
                if end is not None:
                    writer.end(end)
                writer.rest(part.events.tail)
            part.bodies = [writer.body() for writer in writers]
        self._score.counts.unended += self._engine.sounding


def _in_time(tracks: Sequence[TrackEvents]) -> Iterator[tuple[int, Event]]:
    """The events of all tracks with their track's number, by tick, then by track (rulings 29, 32)."""
    if len(tracks) == 1:
        for event in tracks[0]:
            yield 0, event
        return
    waiting = []
    for number, events in enumerate(tracks):
        iterator = iter(events)
        first = next(iterator, None)
        if first is not None:
            waiting.append((first[0], number, first, iterator))
    heapq.heapify(waiting)
    while waiting:
        _, number, event, iterator = heapq.heappop(waiting)
        until, other = waiting[0][:2] if waiting else (NEVER, 0)
        later: Event | None = event
        while later is not None and (later[0] < until or (later[0] == until and number < other)):
            yield number, later
            later = next(iterator, None)
        if later is not None:
            heapq.heappush(waiting, (later[0], number, later, iterator))
