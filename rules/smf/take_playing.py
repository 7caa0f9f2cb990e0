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


def played(file: MidiFile, sources: Sequence[int], pipeline: Pipeline, times: TempoMap) -> Iterator[PlayedMessage]:
    """Play all tracks; `sources` has the number of each one's source, `times` the time of the file.

    Raises MidiFileError for what can't be read, for format 2, and where too much is delayed at once.
    """
    if file.format == _PATTERNS:
        raise MidiFileError(file.begin + 8, "a file of format 2 holds pieces without a common time: export each one")
    engine = Engine(pipeline, lambda tick, delay: _later(times, tick, delay))
    for source in sources:
        engine.add_player(pipeline.sources[source])
    out: list[Sent] = []
    tick = 0
    for batch in in_order([file.events(track) for track in file.tracks]):
        for tick, track, event in batch:
            message = event[4]
            if engine.next_due <= tick:
                engine.advance(tick, out)
            if len(engine.scheduler) > MOST_PENDING:
                raise MidiFileError(file.tracks[track].body + event[1], "too many messages are delayed at once")
            if message[0] != META:
                engine.feed(track, message if message[0] < SYSEX else message[:1] + content(message), tick, out)
            yield from _taken(out)
    engine.close(tick, out)
    while engine.next_due < NEVER:
        tick = engine.next_due
        engine.advance(tick, out)
    engine.settle(tick, out)
    yield from _taken(out)


def _later(times: TempoMap, tick: int, delay: Delay) -> int:
    return times.ticks_after(tick, delay.ms, delay.beats)


def _taken(out: list[Sent]) -> Iterator[PlayedMessage]:
    """Yield what was sent, and forget it."""
    yield from (PlayedMessage(target, tick, message, track) for target, message, tick, track in out)
    out.clear()
