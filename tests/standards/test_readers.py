"""The two independent readers, held against the example files that the standard prints."""

from __future__ import annotations

from collections.abc import Callable

import pytest

from tests.support import corpora, mido_reader
from tests.support.midicsv import Event, events
from tests.support.smf_bytes import FORMAT_0, FORMAT_1

Reader = Callable[[bytes], list[Event]]
READERS = pytest.mark.parametrize("read", [events, mido_reader.events], ids=["midicsv", "mido"])


@READERS
def test_format_0_example(read: Reader) -> None:
    """The format 0 example reads as the table beside it in the standard says: note-offs are 8n with velocity 64."""
    assert read(FORMAT_0) == [
        Event(0, 0, "Header", None, (0, 1, 96)),
        Event(1, 0, "Start_track", None, ()),
        Event(1, 0, "Time_signature", None, (4, 2, 24, 8)),
        Event(1, 0, "Tempo", None, (500_000,)),
        Event(1, 0, "Program_c", 1, (5,)),
        Event(1, 0, "Program_c", 2, (46,)),
        Event(1, 0, "Program_c", 3, (70,)),
        Event(1, 0, "Note_on_c", 3, (48, 96)),
        Event(1, 0, "Note_on_c", 3, (60, 96)),
        Event(1, 96, "Note_on_c", 2, (67, 64)),
        Event(1, 192, "Note_on_c", 1, (76, 32)),
        Event(1, 384, "Note_off_c", 3, (48, 64)),
        Event(1, 384, "Note_off_c", 3, (60, 64)),
        Event(1, 384, "Note_off_c", 2, (67, 64)),
        Event(1, 384, "Note_off_c", 1, (76, 64)),
        Event(1, 384, "End_track", None, ()),
        Event(0, 0, "End_of_file", None, ()),
    ]


@READERS
def test_format_1_example(read: Reader) -> None:
    """The format 1 example holds the same notes in a track each, ended by note-ons of velocity 0."""
    assert [event for event in read(FORMAT_1) if event.channel or event.kind in ("Header", "End_track")] == [
        Event(0, 0, "Header", None, (1, 4, 96)),
        Event(1, 384, "End_track", None, ()),
        Event(2, 0, "Program_c", 1, (5,)),
        Event(2, 192, "Note_on_c", 1, (76, 32)),
        Event(2, 384, "Note_on_c", 1, (76, 0)),
        Event(2, 384, "End_track", None, ()),
        Event(3, 0, "Program_c", 2, (46,)),
        Event(3, 96, "Note_on_c", 2, (67, 64)),
        Event(3, 384, "Note_on_c", 2, (67, 0)),
        Event(3, 384, "End_track", None, ()),
        Event(4, 0, "Program_c", 3, (70,)),
        Event(4, 0, "Note_on_c", 3, (48, 96)),
        Event(4, 0, "Note_on_c", 3, (60, 96)),
        Event(4, 384, "Note_on_c", 3, (48, 0)),
        Event(4, 384, "Note_on_c", 3, (60, 0)),
        Event(4, 384, "End_track", None, ()),
    ]


@READERS
def test_texts_and_odd_events(read: Reader) -> None:
    """Texts come back as the bytes of the file, sysex with its length and its end, bends as 14 bits."""
    track = bytes.fromhex(
        "00 F0 05 7E 7F 09 01 F7"
        "00 FF 03 06 61 22 5C E9 0A 2C"
        "00 FF 59 02 FD 01"
        "00 FF 7F 03 7D 01 02"
        "00 FF 60 01 07"
        "05 E9 01 40"
        "00 A9 3C 11"
        "00 D9 12"
        "00 FF 2F 00"
    )
    file = FORMAT_0[:14] + b"MTrk" + len(track).to_bytes(4) + track
    assert read(file)[2:-2] == [
        Event(1, 0, "System_exclusive", None, (5, 0x7E, 0x7F, 9, 1, 0xF7)),
        Event(1, 0, "Title_t", None, (b'a"\\\xe9\n,',)),
        Event(1, 0, "Key_signature", None, (-3, b"minor")),
        Event(1, 0, "Sequencer_specific", None, (3, 0x7D, 1, 2)),
        Event(1, 0, "Unknown_meta_event", None, (0x60, 1, 7)),
        Event(1, 5, "Pitch_bend_c", 10, (8193,)),
        Event(1, 5, "Poly_aftertouch_c", 10, (60, 17)),
        Event(1, 5, "Channel_aftertouch_c", 10, (18,)),
    ]


def test_unreadable_file() -> None:
    """A file that midicsv refuses fails the test with midicsv's own words."""
    with pytest.raises(AssertionError, match="not a Standard MIDI File"):
        events(b"no such thing")


@pytest.mark.parametrize("file", corpora.files("songs", "short"), ids=str)
def test_readers_agree_on_real_files(file: corpora.CorpusFile) -> None:
    """Both readers see the same events in every real recording, so a difference in a test is one of ours."""
    data = file.read()
    assert events(data) == mido_reader.events(data)
