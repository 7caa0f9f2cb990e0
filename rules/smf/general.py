"""The general route: every track a player of the engine, all tracks together in time - by tick, then by track."""

from __future__ import annotations

from collections.abc import Sequence
from fractions import Fraction
from typing import Final

from rules.engine.delivery import Sent
from rules.engine.engine import Engine
from rules.midi.messages import SYSEX
from rules.program.pipeline import Pipeline
from rules.smf import solo
from rules.smf.chunks import Track
from rules.smf.midi_file import MidiFile
from rules.smf.order import in_order
from rules.smf.scanning import END_OF_TRACK, Event, content
from rules.smf.score import Part, Score
from rules.smf.tempo import TempoMap, tempo_map
from rules.smf.writing import TrackWriter, stored
from rules.timing.delays import NEVER, Delay, Later

META: Final = 0xFF


def run(score: Score, pipeline: Pipeline, bpm: float) -> None:
    """Plays the parts of a score and fills in their bodies. Raises MidiFileError.

    The tracks of a format 2 file are independent, and so are those that nothing connects: each has an engine of its
    own.
    """
    parts = score.parts
    alone = are_apart(pipeline, score.per_port)
    groups = [[part] for part in parts] if alone or score.file.format == 2 else [parts]
    later = _later_in(score.file, score.file.tracks[0], bpm)
    for group in groups:
        if score.file.format == 2:
            later = _later_in(score.file, score.file.tracks[group[0].number], bpm)
        performance = _Performance(score, group, Engine(pipeline, later), pipeline)
        if alone:
            performance.play_alone()
        else:
            performance.play_together()


def are_apart(pipeline: Pipeline, per_port: bool) -> bool:
    """Whether tracks don't concern each other: one file, no memory, no switches, no output that two can reach.

    One thing they do share: all notes off in one track ends what another left open, but that adds and drops nothing.
    """
    return not (per_port or len(pipeline.present) > 1 or pipeline.nodes or pipeline.shared or pipeline.layout.fields)


def _later_in(file: MidiFile, track: Track, bpm: float) -> Later:
    """How delays become ticks in a file, in a format 2 file in one of its tracks. Without a delay nobody asks."""
    times: list[TempoMap] = []

    def later(tick: int, delay: Delay) -> int:
        if not times:
            times.append(tempo_map(file, track, Fraction(str(bpm))))
        return times[0].ticks_after(tick, delay.ms, delay.beats)

    return later


class _Performance:
    """Some parts and the engine that plays them."""

    def __init__(self, score: Score, parts: Sequence[Part], engine: Engine, pipeline: Pipeline) -> None:
        self.score = score
        self._parts = parts
        self.engine = engine
        self._writers = [[TrackWriter(part.events.body) for _ in range(score.outputs)] for part in parts]
        self.counters = [score.rules.counters(part.source) for part in parts]
        for part in parts:
            engine.add_player(pipeline.sources[part.source])
        self._ends: list[Event | None] = [None] * len(parts)

    def play_alone(self) -> None:
        """One track by itself: nothing that happens in another concerns it, and nothing is put off."""
        soloist = _Soloist(self, 0)
        changed, dropped = solo.play(self._parts[0].events, self._writers[0][0], soloist, self.engine)
        self.score.counts.changed += changed
        self.score.counts.dropped += dropped
        self._finish()

    def play_together(self) -> None:
        """All tracks, in the order of playing, from the first event until nothing is pending any more."""
        engine, agenda, waiting = self.engine, self.engine.agenda, self.engine.waiting
        tick = 0
        out: list[Sent] = []
        for batch in in_order([part.events for part in self._parts]):
            for tick, number, event in batch:
                if agenda.next_due <= tick:
                    self._catch_up(tick)
                message = event[4]
                status = message[0]
                if status >= SYSEX:
                    self.play_long(number, event)
                    continue
                hits, groups = self.counters[number]
                group = groups[(status << 7 | message[1]) & 0x3FFF]
                if group:
                    hits[group] += 1
                else:
                    self.judge(number, message)
                before, waited = agenda.count, len(waiting[number])
                engine.feed(number, message, tick, out)
                self._write(number, message, event, out)
                self._count(number, message, out, agenda.count - before, waited)
                out.clear()
        while agenda.next_due < NEVER:
            tick = agenda.next_due
            self._catch_up(tick)
        engine.settle(tick, out)
        self._write_new(out)
        self._finish()

    def _catch_up(self, tick: int) -> None:
        """Writes what is due by a tick."""
        out: list[Sent] = []
        self.engine.advance(tick, out)
        self._write_new(out)

    def play_long(self, number: int, event: Event) -> None:
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
        before, waited = self.engine.agenda.count, len(self.engine.waiting[number])
        self.judge(number, sent)
        self.engine.feed(number, sent, tick, out)
        self._write(number, sent, event, out)
        self._count(number, sent, out, self.engine.agenda.count - before, waited)

    def judge(self, number: int, message: bytes) -> None:
        """Counts a message by all that it is."""
        status = message[0]
        first = message[1] if status < SYSEX else 0
        second = message[2] if status < SYSEX and len(message) > 2 else 0
        index = (status << 7 | first) & 0x3FFF
        self.score.rules.judge(self._parts[number].source, index, second, self.engine.word)

    def _count(self, number: int, message: bytes, out: Sequence[Sent], put_off: int, waited: int) -> None:
        """What became of a message: only what it caused itself, not what it let go out.

        `waited` is how many messages of its player waited at an output before. A message counts when it begins to wait,
        not when it is let go.
        """
        counts = self.score.counts
        waiting = self.engine.waiting[number]
        own = [data for _, data, _, owner in out if owner == number]
        made = len(own) + put_off + len(waiting) - waited
        if not made:
            counts.dropped += 1
        else:
            counts.changed += message not in own and message not in waiting[waited:]
            counts.added += made - 1

    def write_all(self, number: int, event: Event, sent: Sequence[Sent]) -> None:
        """Writes and counts what a message came to, where it was not put off."""
        self._write(number, event[4], event, sent)
        self._count(number, event[4], sent, 0, len(self.engine.waiting[number]))

    def _write(self, number: int, message: bytes, event: Event, out: Sequence[Sent]) -> None:
        """Writes what came of an event at once, each in the track of its player."""
        lent: set[int] = set()
        for target, data, tick, owner in out:
            output = self._output(number, target, data, event)
            writer = self._writers[owner][output]
            if output in lent and data[0] >= SYSEX and data == message:
                continue  # one file needs what has no channel once, to however many ports it goes
            if owner != number or output in lent:
                writer.put(tick, stored(data))
            elif data == message:
                writer.keep(event)
                lent.add(output)
            else:
                writer.put(tick, stored(data), event)
                lent.add(output)

    def _write_new(self, out: Sequence[Sent]) -> None:
        """Writes what came due; it has no event whose form it could have."""
        for target, data, tick, owner in out:
            output = self._output(owner, target, data, None)
            self._writers[owner][output].put(tick, stored(data))

    def _output(self, number: int, target: int, data: bytes, event: Event | None) -> int:
        """The output for a port; marks it used, and its channel taken."""
        if self.score.per_port:
            self.score.used.add(target)
            return target
        if data[0] < SYSEX:
            part = self._parts[number]
            self.score.claim(part, data[0], target, part.events.base + (event[1] if event is not None else 0))
        return 0

    def _finish(self) -> None:
        """The ends of the tracks, and what stands behind them."""
        for part, writers, end in zip(self._parts, self._writers, self._ends, strict=True):
            for writer in writers:
                if end is not None:
                    writer.end(end)
                if not part.events.stops_inside or writer.is_unchanged(part.events.tail):
                    writer.rest(part.events.tail)  # half an event would have no meaning behind other events
            part.bodies = [writer.body() for writer in writers]
        self.score.counts.unended += self.engine.sounding


class _Soloist(solo.Answerer):
    """What `solo` asks about one track."""

    def __init__(self, performance: _Performance, number: int) -> None:
        hits, groups = performance.counters[number]
        super().__init__(number, hits, groups)
        self._performance = performance

    def judge(self, message: bytes) -> None:
        """Count a message by all that it is."""
        self._performance.judge(self.number, message)

    def write_long(self, event: Event) -> None:
        """Answer a sysex or meta event and write it."""
        self._performance.play_long(self.number, event)

    def write_all(self, event: Event, sent: Sequence[Sent]) -> None:
        """Write what a message came to, if that is several messages."""
        self._performance.write_all(self.number, event, sent)
