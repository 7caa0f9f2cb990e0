"""The general route: every track a player of the engine, all tracks together in time - by tick, then by track."""

from __future__ import annotations

from collections.abc import Sequence
from fractions import Fraction
from typing import Final

from rules.agenda import NEVER
from rules.books import Sent
from rules.engine import Engine
from rules.messages import SYSEX
from rules.pipeline import Pipeline
from rules.smf import sysex
from rules.smf.order import in_order
from rules.smf.scanning import END_OF_TRACK, Event, content
from rules.smf.score import Part, Score
from rules.smf.tempo import TempoMap, tempo_map
from rules.smf.writing import TrackWriter
from rules.tempo import Delay, Later

META: Final = 0xFF


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
        self._counters = [score.rules.counters(part.source) for part in parts]
        for part in parts:
            engine.add_player(pipeline.sources[part.source])
        # one port and one file, no memory, no switches, no output that two can reach: tracks don't concern each other
        self._is_plain = not (
            score.per_port or len(pipeline.present) > 1 or pipeline.nodes or pipeline.shared or pipeline.layout.fields
        )
        self._ends: list[Event | None] = [None] * len(parts)

    def play(self) -> None:
        """From the first event until nothing is pending any more."""
        if self._is_plain:
            for number, part in enumerate(self._parts):
                self._play_alone(number, part)
        else:
            self._play_together()
        self._finish()

    def _play_alone(self, number: int, part: Part) -> None:
        """One track by itself: nothing that happens in another concerns it, and nothing is put off."""
        feed = self._engine.feed
        hits, groups = self._counters[number]
        writer = self._writers[number][0]
        swap, keep = writer.swap, writer.keep
        changed = 0
        out: list[Sent] = []
        for event in part.events:
            message = event[4]
            status = message[0]
            if status >= SYSEX:
                self._play_long(number, event)
                continue
            group = groups[(status << 7 | message[1]) & 0x3FFF]
            if group:
                hits[group] += 1
            else:
                self._judge(number, message)
            feed(number, message, event[0], out)
            if len(out) == 1:
                data = out[0][1]
                if data == message:
                    keep(event)
                else:
                    changed += 1
                    swap(data, event)
            else:
                self._write(number, message, event, out)
                self._count(number, message, out, 0)
            out.clear()
        self._score.counts.changed += changed

    def _play_together(self) -> None:
        """All tracks, in the order of playing."""
        engine, agenda = self._engine, self._engine.agenda
        tick = 0
        out: list[Sent] = []
        for batch in in_order([part.events for part in self._parts]):
            for tick, number, event in batch:
                if agenda.next_due <= tick:
                    self._catch_up(tick)
                message = event[4]
                status = message[0]
                if status >= SYSEX:
                    self._play_long(number, event)
                    continue
                hits, groups = self._counters[number]
                group = groups[(status << 7 | message[1]) & 0x3FFF]
                if group:
                    hits[group] += 1
                else:
                    self._judge(number, message)
                before = agenda.count
                engine.feed(number, message, tick, out)
                self._write(number, message, event, out)
                self._count(number, message, out, agenda.count - before)
                out.clear()
        while agenda.next_due < NEVER:
            tick = agenda.next_due
            self._catch_up(tick)
        engine.settle(tick, out)
        self._write_new(out)

    def _catch_up(self, tick: int) -> None:
        """Writes what is due by a tick."""
        out: list[Sent] = []
        self._engine.advance(tick, out)
        self._write_new(out)

    def _play_long(self, number: int, event: Event) -> None:
        """A meta event, which stays, or sysex and escapes, which go through the engine as what they send."""
        tick, _, _, _, message = event
        if message[0] == META:
            if message[1] == END_OF_TRACK:
                self._ends[number] = event  # written last, in case a delay passes it
                return
            for writer in self._writers[number]:
                writer.keep(event)
            return
        sent = message[:1] + content(message)
        out: list[Sent] = []
        before = self._engine.agenda.count
        self._judge(number, sent)
        self._engine.feed(number, sent, tick, out)
        self._write(number, sent, event, out)
        self._count(number, sent, out, self._engine.agenda.count - before)

    def _judge(self, number: int, message: bytes) -> None:
        """Counts a message by all that it is."""
        status = message[0]
        first = message[1] if status < SYSEX else 0
        second = message[2] if status < SYSEX and len(message) > 2 else 0
        index = (status << 7 | first) & 0x3FFF
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
