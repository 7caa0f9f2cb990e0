"""The general route: every track a player of the engine, all tracks together in time - by tick, then by track."""

from __future__ import annotations

from collections.abc import Sequence
from fractions import Fraction
from typing import Final

from rules.engine.delivery import Sent
from rules.engine.engine import Engine
from rules.errors import MidiFileError
from rules.midi.messages import SYSEX
from rules.program.pipeline import Pipeline
from rules.smf import single_track
from rules.smf.chunks import Track
from rules.smf.event_order import Timed, in_order
from rules.smf.file_rewrite import FileRewrite, TrackRewrite
from rules.smf.midi_file import MidiFile
from rules.smf.tempo import TempoMap, tempo_map
from rules.smf.track_events import END_OF_TRACK, META, TrackEvent, content
from rules.smf.writing import TrackWriter, stored
from rules.timing.delays import NEVER, Delay, Later

MOST_PENDING: Final = 30_000
"""How many messages of a file may be on their way at once: each needs about a thousand bytes."""
MOST_SOUNDING: Final = 25_000
"""How many notes of a file may sound at once: some files begin notes and end none."""
_COUNTED_EVERY: Final = 8_192
"""Events after which the notes that sound are counted: that takes a look at each."""


def play_file(rewrite: FileRewrite, pipeline: Pipeline, bpm: float) -> None:
    """Play the tracks of a file and fill in their bodies. Raises MidiFileError.

    The tracks of a format 2 file are independent, and so are those that nothing connects: each has an engine of its
    own.
    """
    tracks = rewrite.tracks
    alone = are_independent(pipeline, rewrite.per_port)
    groups = [[track] for track in tracks] if alone or rewrite.file.format == 2 else [tracks]
    later = _later_in(rewrite.file, rewrite.file.tracks[0], bpm)
    for group in groups:
        if rewrite.file.format == 2:
            later = _later_in(rewrite.file, rewrite.file.tracks[group[0].number], bpm)
        played = _TrackGroup(rewrite, group, Engine(pipeline, later), pipeline)
        if alone:
            played.play_alone()
        else:
            played.play_together()


def are_independent(pipeline: Pipeline, per_port: bool) -> bool:
    """Return whether tracks don't concern each other: one file, no memory, no switches, no output that two can reach.

    One thing they do share: all notes off in one track ends what another left open, but that adds and drops nothing.
    """
    return not (per_port or len(pipeline.present) > 1 or pipeline.nodes or pipeline.shared or pipeline.layout.fields)


def _later_in(file: MidiFile, track: Track, bpm: float) -> Later:
    """Return how delays become ticks in a file, or in one track of a format 2 file."""
    times: list[TempoMap] = []

    def later(tick: int, delay: Delay) -> int:
        if not times:
            times.append(tempo_map(file, track, Fraction(str(bpm))))
        return times[0].ticks_after(tick, delay.ms, delay.beats)

    return later


class _Due:
    """What a track is still to send: how many `messages`, and of each sort the last that was put off, with the word of
    the switches then."""

    def __init__(self) -> None:
        self.messages = 0
        self.put_off: dict[bytes, tuple[bytes, int]] = {}


class _TrackGroup:
    """Some tracks and the engine that plays them."""

    def __init__(
        self, rewrite: FileRewrite, tracks: Sequence[TrackRewrite], engine: Engine, pipeline: Pipeline
    ) -> None:
        self.rewrite = rewrite
        self._tracks = tracks
        self.engine = engine
        self._writers = [[TrackWriter(track.events.body) for _ in range(rewrite.outputs)] for track in tracks]
        self.counters = [rewrite.rules.counters(track.source) for track in tracks]
        for track in tracks:
            engine.add_player(pipeline.sources[track.source])
        self._ends: list[TrackEvent | None] = [None] * len(tracks)
        self._due = [_Due() for _ in tracks]

    def play_alone(self) -> None:
        """Play one track by itself: nothing in another track concerns it, and nothing is put off."""
        handler = _Handler(self, 0)
        changed = single_track.play_track(self._tracks[0].events, self._writers[0][0], handler, self.engine)
        self.rewrite.counts.changed += changed
        self._finish()

    def play_together(self) -> None:
        """Play all tracks, in the order of playing, until nothing is pending any more."""
        engine, scheduler, waiting = self.engine, self.engine.scheduler, self.engine.waiting
        tick = 0
        out: list[Sent] = []
        uncounted = 0
        for batch in in_order([track.events for track in self._tracks]):
            uncounted += len(batch)
            if uncounted > _COUNTED_EVERY:
                uncounted = 0
                if engine.sounding > MOST_SOUNDING:
                    raise self._refused(batch[0], f"more than {MOST_SOUNDING:,} notes sound at once: end them")
            for tick, number, event in batch:
                if scheduler.next_due <= tick:
                    self._write_due(tick)
                if len(scheduler) > MOST_PENDING:
                    raise self._refused(
                        (tick, number, event),
                        f"more than {MOST_PENDING:,} messages are delayed at once: use shorter delays, or fewer copies",
                    )
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
                    self.count_singly(number, message)
                before, waited = engine.put_off, len(waiting[number])
                engine.feed(number, message, tick, out)
                written = self._write(number, message, event, out)
                self._count(number, message, written, engine.put_off - before, waited)
                out.clear()
        engine.close(tick, out)
        self._write_new(out)
        out.clear()
        while scheduler.next_due < NEVER:
            tick = scheduler.next_due
            self._write_due(tick)
        engine.settle(tick, out)
        self._write_new(out)
        self._count_what_never_went()
        self._finish()

    def _refused(self, timed: Timed, text: str) -> MidiFileError:
        """Return the error for a file that goes beyond a limit at an event."""
        _, number, event = timed
        return MidiFileError(self._tracks[number].events.base + event[1], text)

    def _write_due(self, tick: int) -> None:
        """Write what is due by a tick."""
        out: list[Sent] = []
        self.engine.advance(tick, out)
        self._write_new(out)

    def play_long(self, number: int, event: TrackEvent) -> None:
        """Keep a meta event; play sysex and escapes as what they send."""
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
        before, waited = self.engine.put_off, len(self.engine.waiting[number])
        self.count_singly(number, sent)
        self.engine.feed(number, sent, tick, out)
        written = self._write(number, sent, event, out)
        self._count(number, sent, written, self.engine.put_off - before, waited)

    def count_singly(self, number: int, message: bytes) -> None:
        """Count a message by all that it is."""
        status = message[0]
        first = message[1] if status < SYSEX else 0
        second = message[2] if status < SYSEX and len(message) > 2 else 0
        index = (status << 7 | first) & 0x3FFF
        self.rewrite.rules.count_singly(self._tracks[number].source, index, second, self.engine.word)

    def _count(self, number: int, message: bytes, written: Sequence[bytes], put_off: int, waited: int) -> None:
        """Count what became of a message: only what it caused itself, not what it let go out.

        `written` are the messages of its player that went out at once. `waited` is how many of its player waited at an
        output before. A message counts when it begins to wait, not when it is let go.
        """
        counts = self.rewrite.counts
        waiting = self.engine.waiting[number]
        later = put_off + len(waiting) - waited
        made = len(written) + later
        due = self._due[number]
        due.messages += later
        if later > 0:
            due.put_off[message[:2]] = message, self.engine.word
        if not made:
            self.count_dropped(number, message)
        else:
            counts.changed += message not in written and message not in waiting[waited:]
            counts.added += made - 1

    def _count_what_never_went(self) -> None:
        """Count what was put off or waited, and came to nothing in the end."""
        counts = self.rewrite.counts
        for track, due in zip(self._tracks, self._due, strict=True):
            missing = due.messages
            counts.added += max(0, -missing)
            if missing > 0:
                counts.dropped += missing
                self.rewrite.drops.count_put_off(track.source, list(due.put_off.values()), missing)

    def count_dropped(self, number: int, message: bytes) -> None:
        """Count a message that came to nothing."""
        track = self._tracks[number]
        self.rewrite.counts.dropped += 1
        self.rewrite.drops.count(track.number, track.source, message, self.engine.word)

    def write_all(self, number: int, event: TrackEvent, sent: Sequence[Sent]) -> None:
        """Write and count what a message came to, where nothing of it was put off."""
        written = self._write(number, event[4], event, sent)
        self._count(number, event[4], written, 0, len(self.engine.waiting[number]))

    def _write(self, number: int, message: bytes, event: TrackEvent, out: Sequence[Sent]) -> list[bytes]:
        """Write what came of an event at once, each in the track of its player; return what was of this player."""
        own: list[bytes] = []
        written: set[int] = set()
        for target, data, tick, owner in out:
            output = self._output(number, target, data, event)
            writer = self._writers[owner][output]
            if output in written and data[0] >= SYSEX and data == message:
                continue  # one file needs what has no channel once, to however many ports it goes
            if owner == number:
                own.append(data)
            else:
                self._due[owner].messages -= 1
            if owner != number or output in written:
                writer.put(tick, stored(data))
            elif data == message:
                writer.keep(event)
                written.add(output)
            else:
                writer.put(tick, stored(data), event)
                written.add(output)
        return own

    def _write_new(self, out: Sequence[Sent]) -> None:
        """Write what came due; it has no event whose form it could have."""
        for target, data, tick, owner in out:
            output = self._output(owner, target, data, None)
            self._due[owner].messages -= 1
            self._writers[owner][output].put(tick, stored(data))

    def _output(self, number: int, target: int, data: bytes, event: TrackEvent | None) -> int:
        """Return the output for a port; mark it used, and its channel taken."""
        if self.rewrite.per_port:
            self.rewrite.used.add(target)
            return target
        if data[0] < SYSEX:
            track = self._tracks[number]
            at = track.events.base + (event[1] if event is not None else 0)
            self.rewrite.claim_channel(track, data[0], target, at)
        return 0

    def _finish(self) -> None:
        """Write the ends of the tracks, and what stands behind them."""
        for track, writers, end in zip(self._tracks, self._writers, self._ends, strict=True):
            for writer in writers:
                if end is not None:
                    writer.end(end)
                if not track.events.stops_inside or writer.is_unchanged(track.events.tail):
                    writer.rest(track.events.tail)  # half an event would have no meaning behind other events
            track.bodies = [writer.body() for writer in writers]
        self.rewrite.counts.unended += self.engine.sounding


class _Handler(single_track.EventHandler):
    """What `single_track` asks about one track."""

    def __init__(self, group: _TrackGroup, number: int) -> None:
        hits, groups = group.counters[number]
        super().__init__(number, hits, groups)
        self._group = group

    def count_singly(self, message: bytes) -> None:
        """Count a message by all that it is."""
        self._group.count_singly(self.number, message)

    def count_dropped(self, message: bytes) -> None:
        """Count a channel message that came to nothing."""
        self._group.count_dropped(self.number, message)

    def write_long(self, event: TrackEvent) -> None:
        """Answer a sysex or meta event and write it."""
        self._group.play_long(self.number, event)

    def write_all(self, event: TrackEvent, sent: Sequence[Sent]) -> None:
        """Write what a message came to, if that is several messages."""
        self._group.write_all(self.number, event, sent)
