"""A recording played through the rules: every message that goes out, at its port and tick, in order.

It is what `rewrite` writes, before it is sorted into tracks.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from typing import Final, NamedTuple

from rules.engine.delivery import Sent
from rules.engine.engine import Engine
from rules.errors import MidiFileError
from rules.midi.messages import SYSEX
from rules.program.pipeline import Pipeline
from rules.smf.event_order import in_order
from rules.smf.general_route import MOST_PENDING
from rules.smf.midi_file import MidiFile
from rules.smf.tempo import TempoMap
from rules.smf.track_events import META, content
from rules.timing.delays import NEVER, Delay

_PATTERNS: Final = 2
"""The format whose tracks are pieces of their own."""


class PlayedMessage(NamedTuple):
    """A message that goes out: its port by number, its tick, its bytes, and the track that it came of, from 0."""

    port: int
    tick: int
    message: bytes
    track: int


class Moment(NamedTuple):
    """A message of the file with what went out at once, and how many messages it put off; or what came due.

    `track` and `message` are those of the file: track -1 and no message where something came due. A sysex message or
    escape is as it is sent; meta events have no moment.
    """

    tick: int
    track: int
    message: bytes
    sent: Sequence[Sent]
    put_off: int


def moments(file: MidiFile, sources: Sequence[int], pipeline: Pipeline, times: TempoMap) -> Iterator[Moment]:
    """Play all tracks; `sources` has the number of each one's source, `times` the time of the file.

    Raises MidiFileError for what can't be read, for format 2, and where too much is delayed at once.
    """
    if file.format == _PATTERNS:
        raise MidiFileError(file.begin + 8, "a file of format 2 holds pieces without a common time: export each one")
    engine = Engine(pipeline, lambda tick, delay: _later(times, tick, delay))
    for source in sources:
        engine.add_player(pipeline.sources[source])
    tick = 0
    for batch in in_order([file.events(track) for track in file.tracks]):
        for tick, track, event in batch:
            if engine.next_due <= tick:
                yield _due(engine, tick)
            if len(engine.scheduler) > MOST_PENDING:
                raise MidiFileError(file.tracks[track].body + event[1], "too many messages are delayed at once")
            message = event[4]
            if message[0] != META:
                message = message if message[0] < SYSEX else message[:1] + content(message)
                out: list[Sent] = []
                before = engine.put_off
                engine.feed(track, message, tick, out)
                yield Moment(tick, track, message, out, engine.put_off - before)
    out = []
    engine.close(tick, out)
    yield Moment(tick, -1, b"", out, 0)
    while engine.next_due < NEVER:
        tick = engine.next_due
        yield _due(engine, tick)
    out = []
    engine.settle(tick, out)
    yield Moment(tick, -1, b"", out, 0)


def played(file: MidiFile, sources: Sequence[int], pipeline: Pipeline, times: TempoMap) -> Iterator[PlayedMessage]:
    """Return all that goes out, in order. Raises MidiFileError as `moments` does."""
    for moment in moments(file, sources, pipeline, times):
        for target, message, tick, track in moment.sent:
            yield PlayedMessage(target, tick, message, track)


def _due(engine: Engine, tick: int) -> Moment:
    """What comes due up to a tick."""
    out: list[Sent] = []
    engine.advance(tick, out)
    return Moment(tick, -1, b"", out, 0)


def _later(times: TempoMap, tick: int, delay: Delay) -> int:
    return times.ticks_after(tick, delay.ms, delay.beats)
