"""Writing tracks and files so that whatever no rule touched keeps its bytes.

A track is written event by event. An event that stays keeps its delta time's form (a padded number too) as long as its
value stays, and its status byte is left out exactly where the file left it out and what precedes it still allows that.
Running status is never introduced, and never broken without need. A meta event ends it (RP-001, "meta-event"), except
where the file itself carried it over that very meta event.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Final

from rules.program.native import BytesWriter
from rules.smf import riff, vlq
from rules.smf.midi_file import MidiFile
from rules.smf.track_events import META, TrackEvent

REST: Final = b"\xff\x01\x00"
"""An empty text event: it carries a delta time that is too long for one number."""


class TrackWriter:
    """Writes the body of one track from the events of the original `body`, kept or replaced, and from new ones.

    Ticks must not fall from one call to the next (ValueError). `tick` is that of the last event written, `out` what is
    written, `status` the channel status in force there (0: none), `after_meta` whether a meta event was written since.

    While the writer is in step, the original up to `in_step` has its place and its ticks in what is written, and the
    next event can be copied. Out of step `in_step` is -1.
    """

    # Out of step, `_seen` is where the event of the original ends that was written last (-1: a new one), and
    # `_seen_tick` is its tick there.
    __slots__ = ("_body", "_seen", "_seen_tick", "after_meta", "in_step", "out", "status", "tick")

    def __init__(self, body: bytes) -> None:
        self._body = body
        self.out = BytesWriter()
        self.in_step = 0
        self._seen = -1
        self._seen_tick = 0
        self.status = 0
        self.after_meta = False
        self.tick = 0

    def resume(self, in_step: int, status: int, after_meta: bool, tick: int) -> None:
        """Take over from one who wrote to `out` while in step."""
        self.in_step, self.status, self.after_meta, self.tick = in_step, status, after_meta, tick

    def keep(self, event: TrackEvent) -> None:
        """Write an event of the original as it was, at its own tick."""
        tick, delta_at, _, end, message = event
        if delta_at == self.in_step and message[0] == self.status:
            self.out.write(self._body[delta_at:end])  # what precedes it is what did, so its own bytes are right
            self.after_meta = False
            self.in_step = end
            self.tick = tick
        else:
            self.put(tick, message, event)

    def put(self, tick: int, message: bytes, like: TrackEvent | None = None) -> None:
        """Write `message` at `tick`: a channel message with its status byte, or a sysex or meta event with its length.

        `like` is the event of the original that it is or replaces: it lends its form to the new one.
        """
        status = message[0]
        running = False
        if like is None:
            self._put_delta(tick - self.tick)
            self.in_step = self._seen = -1
        else:
            like_tick, delta_at, at, end, _ = like
            body = self._body
            seen, seen_tick = (self._seen, self._seen_tick) if self.in_step < 0 else (self.in_step, self.tick)
            follows = delta_at == seen
            if follows and tick - self.tick == like_tick - seen_tick:
                self.out.write(body[delta_at:at])
            else:
                follows = self._put_delta_like(tick - self.tick, delta_at, at) and follows
            if body[at] < 0x80 and status == self.status:
                running = follows or not self.after_meta
            self.in_step = end if tick == like_tick else -1
            self._seen = end
            self._seen_tick = like_tick
        self.tick = tick
        if status < 0xF0:
            self.status = status
            self.after_meta = False
            self.out.write(message[1:] if running else message)
        else:
            self._put_long_event(message)

    def end(self, event: TrackEvent) -> None:
        """Write the end of track: at its own tick, or later if another event has passed it."""
        self.put(max(event[0], self.tick), event[4], event)

    def is_unchanged(self, tail: int) -> bool:
        """Say whether what is written is the original up to `tail`."""
        return len(self.out) == tail and self._body.startswith(self.out.getvalue())

    def rest(self, tail: int) -> None:
        """Append the bytes of the original from `tail` on, which belong to no event."""
        self.out.write(self._body[tail:])

    def body(self) -> bytes:
        """Return the track as written so far."""
        return self.out.getvalue()

    def _put_delta_like(self, delta: int, delta_at: int, at: int) -> bool:
        """Write a delta time, in the form of the original if its value is the same; False if it took more events."""
        if vlq.decode(self._body, delta_at)[0] == delta:
            self.out.write(self._body[delta_at:at])
            return True
        return self._put_delta(delta)

    def _put_delta(self, delta: int) -> bool:
        """Write a delta time; return False if it is so long that empty text events had to carry parts of it."""
        if delta < 0:
            raise ValueError(f"an event {-delta} ticks before the one written last")
        if delta <= vlq.LARGEST:
            self.out.write(vlq.encode(delta))
            return True
        while delta > vlq.LARGEST:
            self.out.write(vlq.encode(vlq.LARGEST) + REST)
            delta -= vlq.LARGEST
        self.out.write(vlq.encode(delta))
        self.after_meta = True
        return False

    def _put_long_event(self, message: bytes) -> None:
        if message[0] == META and len(message) > 2 and message[1] < 0x80:
            self.after_meta = True
        elif message[0] in (0xF0, 0xF7) and len(message) > 1:
            self.status = 0
        else:
            raise ValueError(f"{message.hex(' ')} isn't an event of a track: wrap it as a sysex event or an escape")
        self.out.write(message)


def stored(message: bytes) -> bytes:
    """Return how a track stores a message: channel messages as they are, sysex with its length, others as an escape.

    `F0 43 12 00 F7` is stored as `F0 04 43 12 00 F7`: the length takes the place behind the status. A message that
    begins with F7 is a packet or an escape from a file, with what it sends behind the F7.

    Source: Standard MIDI Files 1.0 (RP-001), "sysex event".
    """
    if message[0] < 0xF0:
        return message
    if message[0] in (0xF0, 0xF7):
        return message[:1] + vlq.encode(len(message) - 1) + message[1:]
    return b"\xf7" + vlq.encode(len(message)) + message


def write(file: MidiFile, bodies: Sequence[bytes]) -> bytes:
    """Return the file with `bodies` in place of its tracks, one each, and all else as it was.

    A length in a chunk header is rewritten only where the size changed: what was damaged and left alone stays.
    """
    data = file.data
    pieces = []
    done = file.begin
    for track, body in zip(file.tracks, bodies, strict=True):
        if len(body) == track.end - track.body:
            pieces.append(data[done : track.body])
        else:
            pieces += (data[done : track.body - 4], len(body).to_bytes(4))
        pieces.append(body)
        done = track.end
    pieces.append(data[done : file.finish])
    inner = b"".join(pieces)
    return riff.rewrap(data, file.wrapper, inner) if file.wrapper else inner
