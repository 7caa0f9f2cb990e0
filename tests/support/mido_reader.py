"""What the library mido reads in a Standard MIDI File, told in the records of midicsv, for comparisons.

mido is only ever asked to read: what it writes differs from what it read. It also refuses some valid files (escaped
real-time messages, alien chunks) and moves an end of track that comes too early, so it is no judge of those.
"""

from __future__ import annotations

import io
from collections.abc import Callable
from fractions import Fraction
from typing import Any

import mido  # type: ignore[import-untyped]

from tests.support.midicsv import Event

Data = tuple[int | bytes, ...]

CHANNEL_KINDS: dict[str, tuple[str, Callable[[Any], Data]]] = {
    "note_off": ("Note_off_c", lambda message: (message.note, message.velocity)),
    "note_on": ("Note_on_c", lambda message: (message.note, message.velocity)),
    "polytouch": ("Poly_aftertouch_c", lambda message: (message.note, message.value)),
    "control_change": ("Control_c", lambda message: (message.control, message.value)),
    "program_change": ("Program_c", lambda message: (message.program,)),
    "aftertouch": ("Channel_aftertouch_c", lambda message: (message.value,)),
    "pitchwheel": ("Pitch_bend_c", lambda message: (message.pitch + 8192,)),
}
TEXT_KINDS = {
    "text": ("Text_t", "text"),
    "copyright": ("Copyright_t", "text"),
    "track_name": ("Title_t", "name"),
    "instrument_name": ("Instrument_name_t", "name"),
    "lyrics": ("Lyric_t", "text"),
    "marker": ("Marker_t", "text"),
    "cue_marker": ("Cue_point_t", "text"),
}


def events(data: bytes) -> list[Event]:
    """Return every event that mido reads in a file's bytes, as `midicsv.events` would return it."""
    file = mido.MidiFile(file=io.BytesIO(data))
    found = [Event(0, 0, "Header", None, (file.type, len(file.tracks), file.ticks_per_beat))]
    for number, track in enumerate(file.tracks, start=1):
        found.append(Event(number, 0, "Start_track", None, ()))
        tick = 0
        for message in track:
            tick += message.time
            found.append(_event(number, tick, message))
    return [*found, Event(0, 0, "End_of_file", None, ())]


def _event(track: int, tick: int, message: Any) -> Event:
    if message.type in CHANNEL_KINDS:
        kind, fields = CHANNEL_KINDS[message.type]
        return Event(track, tick, kind, message.channel + 1, fields(message))
    if message.type in TEXT_KINDS:
        kind, attribute = TEXT_KINDS[message.type]
        return Event(track, tick, kind, None, (getattr(message, attribute).encode("latin-1"),))
    if message.type == "sysex":
        return Event(track, tick, "System_exclusive", None, (len(message.data) + 1, *message.data, 0xF7))
    return Event(track, tick, *_meta(message))


def _meta(message: Any) -> tuple[str, None, Data]:
    content = tuple(message.bytes()[3:])  # FF, type, length: every meta told here is shorter than 128 bytes
    match message.type:
        case "end_of_track":
            return "End_track", None, ()
        case "set_tempo":
            return "Tempo", None, (message.tempo,)
        case "key_signature":
            return "Key_signature", None, ((content[0] ^ 0x80) - 0x80, b"minor" if content[1] else b"major")
        case "sequence_number":
            return "Sequence_number", None, (message.number,)
        case "time_signature":
            return "Time_signature", None, content
        case "smpte_offset":
            return "SMPTE_offset", None, content
        case "midi_port":
            return "MIDI_port", None, content
        case "channel_prefix":
            return "Channel_prefix", None, content
        case "sequencer_specific":
            return "Sequencer_specific", None, (len(message.data), *message.data)
        case _:
            return "Unknown_meta_event", None, (message.bytes()[1], len(content), *content)


def on_wire(data: bytes) -> list[tuple[int, bytes]]:
    """Return the messages of a file in the order of playing, each with its time in nanoseconds (to the nearest one)."""
    file = mido.MidiFile(file=io.BytesIO(data))
    found = []
    for number, track in enumerate(file.tracks):
        tick = 0
        for place, message in enumerate(track):
            tick += message.time
            found.append((tick, number, place, message))
    now, tempo, before = Fraction(0), 500_000, 0
    messages = []
    for tick, _, _, message in sorted(found, key=lambda each: each[:3]):
        now += Fraction((tick - before) * tempo * 1000, file.ticks_per_beat)
        before = tick
        if message.type == "set_tempo":
            tempo = message.tempo
        elif not message.is_meta:
            messages.append((int(now + Fraction(1, 2)), bytes(message.bytes())))
    return messages
