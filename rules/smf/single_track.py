"""One track by itself, in one pass: read an event, answer it, write it.

This is `track_events` and `writing` in one loop, for tracks that no other track concerns. Whatever isn't everyday -
long delta times, sysex and meta events, damage, messages that come to several - is left to those two.
"""

from __future__ import annotations

from abc import ABC, abstractmethod
from collections.abc import Sequence
from typing import Final

from rules.engine.delivery import Sent
from rules.engine.engine import Engine
from rules.program.native import i64, vec
from rules.smf import vlq
from rules.smf.track_events import DATA_BYTES, END_OF_TRACK, META, ONE_BYTE, TrackEvent, TrackEvents
from rules.smf.writing import TrackWriter


class EventHandler(ABC):
    """Takes the events of a track that the loop leaves to others, and counts for the rules.

    `hits` are the counters by group of messages, `groups` the group of each cell; 0 where a message is counted singly.
    """

    def __init__(self, number: int, hits: vec[i64], groups: list[int]) -> None:
        self.number: Final = number
        self.hits: Final = hits
        self.groups: Final = groups

    @abstractmethod
    def count_singly(self, message: bytes) -> None:
        """Count a message by all that it is."""

    @abstractmethod
    def count_dropped(self, message: bytes) -> None:
        """Count a message that came to nothing."""

    @abstractmethod
    def write_long(self, event: TrackEvent) -> None:
        """Answer a sysex or meta event and write it."""

    @abstractmethod
    def write_all(self, event: TrackEvent, sent: Sequence[Sent]) -> None:
        """Write what a message came to, if that is several messages."""


def play_track(events: TrackEvents, writer: TrackWriter, handler: EventHandler, engine: Engine) -> int:
    """Play one track on the engine; return how many messages changed in their places.

    What comes out as it came in is copied in spans: `kept` is where the open one begins. The loop is in step while the
    original has its place and ticks in what is written. Messages that are dropped leave a gap of `lost` ticks, which
    begins at `gap` (-1: none). Otherwise the writer is in charge, and counts its own ticks. Raises MidiFileError for
    what can't be read.
    """
    number, hits, groups = handler.number, handler.hits, handler.groups
    body, out = events.body, writer.out
    size: i64 = len(body)
    at: i64 = 0
    delta_at: i64 = 0
    end: i64 = 0
    kept: i64 = 0
    gap: i64 = -1
    meta_end: i64 = 0
    tick: i64 = 0
    lost: i64 = 0
    status: i64 = 0
    in_force: i64 = 0
    needed: i64 = 0
    changed = 0
    prefix = b""
    in_step = True
    sent: list[Sent] = []
    try:
        while at < size:
            delta_at = at
            delta: i64 = body[at]
            at += 1
            if delta > 0x7F:
                # Two bytes are the usual long form, and worth reading without a call.
                if body[at] < 0x80:
                    delta = (delta & 0x7F) << 7 | body[at]
                    at += 1
                else:
                    delta, at = vlq.decode(body, delta_at, events.base)
            tick += delta
            first: i64 = body[at]
            if first < 0x80:
                runs = True
                # 0 after sysex and meta events: only then the rare ways to run on have to be looked at.
                if not needed:
                    needed = events.carried_on(at, status)
                end = at + needed
                # The first data byte was looked at above: it is what makes this event one of running status.
                if body[end - 1] > 0x7F:
                    raise events.bad_data(end - 1)
                message = prefix + body[at:end]
            elif first < 0xF0:
                runs = False
                status = first
                prefix = ONE_BYTE[first]
                needed = DATA_BYTES[first]
                end = at + 1 + needed
                first = body[at + 1]
                if first > 0x7F or body[end - 1] > 0x7F:
                    raise events.bad_data(at + 1 if first > 0x7F else end - 1)
                message = body[at:end]
            else:
                needed = 0
                if first != META:
                    status = 0
                end = events.end_of_long_event(at)
                # The writer takes over where the open span, or the gap, begins: it can't be asked before the bytes of
                # the span are written, since it goes on behind them.
                if in_step:
                    out.write(body[kept:delta_at])
                    gap = delta_at
                if gap >= 0:
                    writer.resume(gap, in_force, meta_end == gap, tick - delta - lost)
                    gap = -1
                lost = 0
                handler.write_long((tick, delta_at, at, end, body[at:end]))
                in_step = writer.in_step == end
                in_force = writer.status
                kept = end
                if first == META:
                    meta_end = end
                if first == META and body[at + 1] == END_OF_TRACK:
                    events.ended(end)
                    return changed
                at = end
                continue
            group = groups[(status << 7 | first) & 0x3FFF]
            if group:
                hits[group] += 1
            else:
                handler.count_singly(message)
            # Nearly every message comes to one message at once. `answer` gives that one without a list, and has changed
            # nothing where it gives None.
            data = engine.answer(number, message, tick)
            if data is None:
                engine.feed(number, message, tick, sent)
                if len(sent) != 1:
                    if sent:
                        if in_step:
                            out.write(body[kept:delta_at])
                            gap = delta_at
                        if gap >= 0:
                            writer.resume(gap, in_force, meta_end == gap, tick - delta - lost)
                            gap = -1
                        lost = 0
                        handler.write_all((tick, delta_at, at, end, message), sent)
                        sent.clear()
                        in_step = writer.in_step == end
                        in_force = writer.status
                        kept = end
                    else:
                        # The ticks of what is dropped go to the next event that is written.
                        handler.count_dropped(message)
                        if in_step:
                            out.write(body[kept:delta_at])
                            gap = delta_at
                            in_step = False
                        lost += delta
                    at = end
                    continue
                data = sent[0][1]
                sent.clear()
            new_status: i64 = data[0]
            is_other = data != message
            changed += is_other
            if in_step:
                # In step nothing was dropped or moved since the last event, so the delta time is right as it stands.
                # What comes out as it came stays in the open span. A status byte is written where the file has one, and
                # where running status would mean another one now.
                if runs and new_status == in_force:
                    if is_other:
                        out.write(body[kept:at])
                        out.write(data[1:])
                        kept = end
                elif is_other or runs:
                    out.write(body[kept:at])
                    out.write(data)
                    kept = end
            # The usual end of a gap without a call: the delta time is one or two bytes long, and with all lost ticks in
            # it the original is in step again. Right behind a meta event the status has to be written (`meta_end`).
            elif gap >= 0 and delta + lost < 0x4000:
                delta += lost
                if not lost:
                    out.write(body[delta_at:at])
                elif delta < 0x80:
                    out.write(ONE_BYTE[delta])
                else:
                    out.write(bytes((delta >> 7 | 0x80, delta & 0x7F)))
                out.write(data[1:] if runs and new_status == in_force and meta_end != gap else data)
                kept = end
                in_step = True
                gap = -1
                lost = 0
            else:
                if gap >= 0:
                    writer.resume(gap, in_force, meta_end == gap, tick - delta - lost)
                    gap = -1
                lost = 0
                writer.put(tick, data, (tick, delta_at, at, end, message))
                in_step = writer.in_step == end
                kept = end
            in_force = new_status
            at = end
    except IndexError:
        if delta_at < end <= size:  # the event was read whole, so it wasn't the file that ended
            raise
        events.stopped_inside(delta_at)
    events.end_missing()
    if in_step:
        out.write(body[kept : events.tail])
    return changed
