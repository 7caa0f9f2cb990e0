"""The events of one track, as raw material: where each lies, when it sounds, what message it is.

What can't be told for certain is never guessed: a data byte above 7F, a status byte that no track may hold, running
status after a sysex or without any status before it leave the meaning of everything behind them open. Changing half of
such a track would strand notes, so it is refused, strict reading or not, with the byte at fault. What leaves no doubt
is read and noted as damage: an event that the end of the file cuts off, a track without its end, bytes after that end,
and running status carried over a meta event, which the standard forbids and real files do.

Source: Standard MIDI Files 1.0 (RP-001), "Track Chunks", "sysex event", "meta-event".
"""

from __future__ import annotations

from collections.abc import Iterator
from typing import Final, TypeAlias

from rules.errors import MidiFileError
from rules.smf import vlq
from rules.smf.damage import Damage, DamageLog, counted

TrackEvent: TypeAlias = tuple[int, int, int, int, bytes]
"""One event: (tick, delta_at, at, end, message).

`tick` counts from the start of the track. `body[delta_at:at]` is its delta time and `body[at:end]` the event as the
file has it. `message` is for a channel event the complete message with its status byte, be that written or running;
for sysex and meta events it is `body[at:end]`. A channel event used running status if `body[at] < 0x80`.
"""

ONE_BYTE: Final = tuple(bytes((byte,)) for byte in range(256))
DATA_BYTES: Final = tuple(1 if 0xC0 <= status < 0xE0 else 2 for status in range(256))

META: Final = 0xFF
"""What a meta event begins with. Its kind follows (RP-001, "meta-event")."""

TRACK_NAME: Final = 0x03
MARKER: Final = 0x06
END_OF_TRACK: Final = 0x2F
SET_TEMPO: Final = 0x51


class TrackEvents:
    """The events of the track `body`, in file order; iterate once.

    `base` is the place of the body in the file, for messages; `cut` says that the file ends before its track does.
    Iterating raises MidiFileError for what can't be read and, if `strict`, for any damage. Afterwards `tail` is where
    the bytes begin that belong to no event (the length of the body if there are none); `stops_inside` says that they
    are the beginning of an event that the file cuts off.
    """

    __slots__ = ("_log", "_ran_over_meta", "base", "body", "cut", "stops_inside", "tail")

    def __init__(self, body: bytes, base: int = 0, *, cut: bool = False, strict: bool = False) -> None:
        self.body = body
        self.base = base
        self.cut = cut
        self.tail = len(body)
        self.stops_inside = False
        self._ran_over_meta = False
        self._log = DamageLog(strict)

    @property
    def damage(self) -> tuple[Damage, ...]:
        """What is damaged in the events read so far, in file order."""
        return tuple(self._log.found)

    def __iter__(self) -> Iterator[TrackEvent]:
        body = self.body
        size = len(body)
        delta_at = at = tick = 0
        status = needed = 0  # the channel status last read; how many data bytes follow it where it may run on
        prefix = b""
        try:
            while at < size:
                delta_at = at
                delta = body[at]
                at += 1
                if delta > 0x7F:
                    if body[at] < 0x80:  # two bytes, the usual case, without a call
                        delta = (delta & 0x7F) << 7 | body[at]
                        at += 1
                    else:
                        delta, at = vlq.decode(body, delta_at, self.base)
                tick += delta
                first = body[at]
                if first < 0x80:
                    if not needed:
                        needed = self.carried_on(at, status)
                    end = at + needed
                    if body[end - 1] > 0x7F:
                        raise self.bad_data(end - 1)
                    yield tick, delta_at, at, end, prefix + body[at:end]
                elif first < 0xF0:
                    status = first
                    prefix = ONE_BYTE[first]
                    needed = DATA_BYTES[first]
                    end = at + 1 + needed
                    if body[at + 1] > 0x7F or body[end - 1] > 0x7F:
                        raise self.bad_data(at + 1 if body[at + 1] > 0x7F else end - 1)
                    yield tick, delta_at, at, end, body[at:end]
                else:
                    needed = 0
                    if first != META:
                        status = 0
                    end = self.end_of_long_event(at)
                    yield tick, delta_at, at, end, body[at:end]
                    if first == META and body[at + 1] == END_OF_TRACK:
                        self.ended(end)
                        return
                at = end
        except IndexError:
            self.stopped_inside(delta_at)
        self.end_missing()

    def end_of_long_event(self, at: int) -> int:
        """Return where the sysex or meta event at `at` ends; IndexError if the file is cut off before that."""
        first = self.body[at]
        length_at = at + 1
        if first == META:
            length_at = at + 2
            if self.body[at + 1] > 0x7F:
                raise self._refused(at + 1, f"meta event of type {self.body[at + 1]:02X}; types 00 to 7F are allowed")
        elif first not in (0xF0, 0xF7):
            raise self._refused(at, f"status byte {first:02X}, which can't be in a track by itself")
        length, data_at = vlq.decode(self.body, length_at, self.base)
        end = data_at + length
        if end <= len(self.body):
            return end
        if self.cut:
            raise IndexError
        raise self._refused(length_at, f"an event of {counted(length, 'byte')} runs past the end of its track")

    def carried_on(self, at: int, status: int) -> int:
        """Return how many data bytes the running `status` takes that a meta event has interrupted."""
        if not status:
            raise self._refused(at, "running status without a channel status before it (a sysex event ends it)")
        if not self._ran_over_meta:
            self._ran_over_meta = True
            self._log.note(self.base + at, "running status is carried over a meta event, which should have ended it")
        return DATA_BYTES[status]

    def end_missing(self) -> None:
        """Note that the track has no end-of-track event."""
        self._log.note(self.base + self.tail, "the track has no end-of-track event; none is added")

    def ended(self, end: int) -> None:
        """Note where the end-of-track event ends, and what stands behind it."""
        self.tail = end
        rest = len(self.body) - end
        if rest:
            self._log.note(self.base + end, f"{counted(rest, 'byte')} after the end of the track, kept unread")

    def stopped_inside(self, delta_at: int) -> None:
        """Note that the track stops inside the event whose delta time is at `delta_at`."""
        self.tail = delta_at
        self.stops_inside = True
        rest = counted(len(self.body) - delta_at, "byte")
        self._log.note(self.base + delta_at, f"the track ends inside an event; {rest} of it can't be read")

    def bad_data(self, at: int) -> MidiFileError:
        """Return the error for a data byte above 7F at `at`."""
        return self._refused(at, f"data byte {self.body[at]:02X} in a channel event; 00 to 7F are allowed")

    def _refused(self, at: int, text: str) -> MidiFileError:
        return MidiFileError(
            self.base + at, f"{text}; what follows may be read wrongly: export the file again, or repair this byte"
        )


def content(message: bytes) -> bytes:
    """Return the bytes of a sysex or meta event, as the file has it, behind its length."""
    _, at = vlq.decode(message, 2 if message[0] == META else 1)
    return message[at:]
