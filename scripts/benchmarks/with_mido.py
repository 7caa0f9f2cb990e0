"""The baselines: the fastest way to do the same with mido's messages that we could find.

Messages are edited in the usual way, by attributes, and past mido's checks as well, with `vars(message)`, which is
faster. Reading and writing files is left to `MidiFile`, as there is no faster way that still has messages.
"""

from __future__ import annotations

from collections.abc import Sequence
from io import BytesIO

from mido import Message, MidiFile  # type: ignore[import-untyped]

DROPPED = 9
MOVED = [3, 0, 1, 2, *range(4, 16)]
UP = 2
VELOCITY = 90
KEYED = {"note_on", "note_off", "polytouch"}


def edited(data: bytes) -> bytes:
    """The edit of `rulefiles.EDIT` on a whole file."""
    file = MidiFile(file=BytesIO(data))
    for track in file.tracks:
        kept = []
        lost = 0
        for message in track:
            if type(message) is Message:
                fields = vars(message)
                if "channel" in fields:
                    channel = fields["channel"]
                    if channel == DROPPED:
                        lost += fields["time"]
                        continue
                    fields["channel"] = MOVED[channel]
                    if "note" in fields:
                        key = fields["note"] + UP
                        if key > 127:
                            lost += fields["time"]
                            continue
                        fields["note"] = key
                        if fields["type"] == "note_on" and fields["velocity"]:
                            fields["velocity"] = VELOCITY
            if lost:
                vars(message)["time"] += lost
                lost = 0
            kept.append(message)
        track[:] = kept
    return _saved(file)


def edited_by_attributes(data: bytes) -> bytes:
    """The edit of `rulefiles.EDIT` on a whole file, in the usual way."""
    file = MidiFile(file=BytesIO(data))
    for track in file.tracks:
        kept = []
        lost = 0
        for message in track:
            if type(message) is Message and message.type != "sysex":
                channel = message.channel
                if channel == DROPPED:
                    lost += message.time
                    continue
                if MOVED[channel] != channel:
                    message.channel = MOVED[channel]
                kind = message.type
                if kind in KEYED:
                    key = message.note + UP
                    if key > 127:
                        lost += message.time
                        continue
                    message.note = key
                    if kind == "note_on" and message.velocity:
                        message.velocity = VELOCITY
            if lost:
                message.time += lost
                lost = 0
            kept.append(message)
        track[:] = kept
    return _saved(file)


def edited_in_place(data: bytes) -> bytes:
    """The edit of `rulefiles.IN_PLACE` on a whole file, past mido's checks."""
    file = MidiFile(file=BytesIO(data))
    for track in file.tracks:
        for message in track:
            fields = vars(message)
            if type(message) is Message and "channel" in fields:
                fields["channel"] = MOVED[fields["channel"]]
                if fields["type"] == "note_on" and fields["velocity"]:
                    fields["velocity"] = VELOCITY
    return _saved(file)


def edited_in_place_by_attributes(data: bytes) -> bytes:
    """The same in the usual way."""
    file = MidiFile(file=BytesIO(data))
    for track in file.tracks:
        for message in track:
            if type(message) is Message and message.type != "sysex":
                channel = message.channel
                if MOVED[channel] != channel:
                    message.channel = MOVED[channel]
                if message.type == "note_on" and message.velocity:
                    message.velocity = VELOCITY
    return _saved(file)


def edit_each(messages: Sequence[bytes]) -> None:
    """The same edit on single messages: bytes, message, other values, bytes."""
    read = Message.from_bytes
    for data in messages:
        message = read(data)
        channel = message.channel
        if channel == DROPPED:
            continue
        message.channel = MOVED[channel]
        kind = message.type
        if kind in KEYED:
            key = message.note + UP
            if key > 127:
                continue
            message.note = key
            if kind == "note_on" and message.velocity:
                message.velocity = VELOCITY
        bytes(message.bytes())


def edit_each_unchecked(messages: Sequence[bytes]) -> None:
    """The same, past mido's checks."""
    read = Message.from_bytes
    for data in messages:
        message = read(data)
        fields = vars(message)
        channel = fields["channel"]
        if channel == DROPPED:
            continue
        fields["channel"] = MOVED[channel]
        if "note" in fields:
            key = fields["note"] + UP
            if key > 127:
                continue
            fields["note"] = key
            if fields["type"] == "note_on" and fields["velocity"]:
                fields["velocity"] = VELOCITY
        bytes(message.bytes())


def move_each(messages: Sequence[bytes]) -> None:
    """Single messages moved to channel 1; nothing is merged."""
    read = Message.from_bytes
    for data in messages:
        message = read(data)
        message.channel = 0
        bytes(message.bytes())


def _saved(file: MidiFile) -> bytes:
    out = BytesIO()
    file.save(file=out)
    return out.getvalue()
