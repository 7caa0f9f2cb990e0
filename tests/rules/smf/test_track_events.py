"""The events of a track: ticks, running status, and what is refused."""

from __future__ import annotations

import tracemalloc

import pytest

from rules.errors import MidiFileError
from rules.smf.midi_file import read
from rules.smf.track_events import TrackEvents, content
from tests.support.smf_bytes import END, one_track, said, scanned, unhex

EOT = "FF 2F 00"


def test_event_tells_where_its_bytes_lie() -> None:
    """An event gives its tick, where its delta time and its own bytes lie, and the complete message."""
    events, _ = scanned("81 00 90 3C 40 05 3E 41" + END)
    assert events == [
        (128, 0, 2, 5, unhex("90 3C 40")),
        (133, 5, 6, 8, unhex("90 3E 41")),
        (133, 8, 9, 12, unhex("FF 2F 00")),
    ]


@pytest.mark.parametrize("high", range(0x8, 0xF))
@pytest.mark.parametrize("low", [0x0, 0x9, 0xF])
def test_channel_messages_have_their_lengths(high: int, low: int) -> None:
    """Program change and channel pressure take one data byte, the other channel messages two (M1 tables I and II)."""
    status = high << 4 | low
    data = "05" if high in (0xC, 0xD) else "05 06"
    assert said(f"00 {status:02X} {data} 01 {data}" + END) == [
        (0, f"{status:02X} {data}"),
        (1, f"{status:02X} {data}"),
        (1, EOT),
    ]


@pytest.mark.parametrize("event", ["90 7F 7F", "B0 7F 7F", "C0 7F", "E0 7F 7F"])
def test_highest_data_bytes(event: str) -> None:
    """Data bytes go up to 7F, behind a written status and a running one."""
    running = event[3:]
    assert said(f"00 {event} 00 {running}" + END) == [(0, event), (0, event), (0, EOT)]


def test_first_bad_data_byte_is_named() -> None:
    """The error names the bad data byte, not the good one beside it."""
    with pytest.raises(MidiFileError, match="byte 3: data byte 80"):
        scanned("00 90 7F 80" + END)


def test_reading_is_lenient_and_the_file_whole_unless_told() -> None:
    """Without a word, damage is noted, and an event past the end of its track isn't blamed on the file's end."""
    reader = TrackEvents(unhex("00 90 3C 40"))
    assert len(list(reader)) == 1
    assert len(reader.damage) == 1
    with pytest.raises(MidiFileError, match="runs past the end of its track"):
        list(TrackEvents(unhex("00 F0 20 7D")))


# MIDI 1.0 Detailed Specification 4.2.1, A-1 and A-2: its byte streams, with a delta time of 0 before each event.
@pytest.mark.parametrize(
    ("body", "messages"),
    [
        ("00 90 3C 27 00 40 2B 00 43 25", ["90 3C 27", "90 40 2B", "90 43 25"]),
        ("00 90 3C 27 00 3C 00 00 3E 29", ["90 3C 27", "90 3C 00", "90 3E 29"]),
        ("00 B0 7C 00 00 01 37", ["B0 7C 00", "B0 01 37"]),
    ],
)
def test_running_status_examples(body: str, messages: list[str]) -> None:
    """The standard's examples of running status read as it says."""
    assert [message for _, message in said(body + END)] == [*messages, EOT]


@pytest.mark.parametrize(
    ("delta", "ticks"),
    [("00", 0), ("7F", 127), ("81 00", 128), ("FF 7F", 16_383), ("81 80 00", 16_384), ("FF FF FF 7F", 0x0FFFFFFF)],
)
def test_delta_times_of_every_length(delta: str, ticks: int) -> None:
    """Delta times of one to four bytes add up to ticks."""
    assert said(f"{delta} 90 3C 40 {delta} 3C 00" + END) == [
        (ticks, "90 3C 40"),
        (2 * ticks, "90 3C 00"),
        (2 * ticks, EOT),
    ]


@pytest.mark.parametrize("padded", ["80 05", "80 80 05", "80 80 80 05"])
def test_padded_numbers(padded: str) -> None:
    """Padded numbers are read for what they are worth, in delta times and lengths."""
    assert said(f"{padded} FF 01 {padded} 41 42 43 44 45" + END)[0] == (5, f"FF 01 {padded} 41 42 43 44 45")


@pytest.mark.parametrize(
    "event",
    [
        pytest.param("FF 00 00", id="sequence number without content"),
        pytest.param("FF 51 04 07 A1 20 00", id="tempo of four bytes"),
        pytest.param("FF 51 01 07", id="tempo of one byte"),
        pytest.param("FF 59 02 FF FF", id="key signature of mode 255"),
        pytest.param("FF 59 02 08 00", id="key signature of eight sharps"),
        pytest.param("FF 01 03 E9 FC FF", id="text of 8-bit codes"),
        pytest.param("FF 05 04 83 81 83 43", id="lyric in Shift-JIS"),
        pytest.param("FF 20 01 09", id="channel prefix"),
        pytest.param("FF 21 01 03", id="port"),
        pytest.param("FF 60 01 02", id="unknown type"),
        pytest.param("FF 7F 04 7D 01 02 03", id="manufacturer's own"),
        pytest.param("FF 7E 00", id="unknown type without content"),
    ],
)
def test_meta_events_are_kept_as_bytes(event: str) -> None:
    """A meta event's content is nobody's business: any length, any bytes."""
    assert said("05 " + event + END) == [(5, event), (5, EOT)]


def test_end_of_track_with_content_ends_the_track() -> None:
    """An end-of-track event is told by its type; a length of its own changes nothing."""
    events, reader = scanned("00 FF 2F 01 55")
    assert [event[4] for event in events] == [unhex("FF 2F 01 55")]
    assert reader.damage == ()


def test_running_status_over_a_meta_event_is_read_and_noted_once() -> None:
    """Running status over meta events, against RP-001 but found in real files, is read as it was meant and noted."""
    body = "00 90 3C 40 00 FF 01 01 41 10 3C 00 00 FF 06 00 00 FF 06 00 00 3E 10 01 3E 00" + END
    events, reader = scanned(body)
    assert [event[4].hex(" ") for event in events if event[4][0] < 0xF0] == [
        "90 3c 40",
        "90 3c 00",
        "90 3e 10",
        "90 3e 00",
    ]
    assert [str(problem) for problem in reader.damage] == [
        "byte 10: running status is carried over a meta event, which should have ended it"
    ]
    with pytest.raises(MidiFileError, match="byte 10: running status is carried over a meta event"):
        scanned(body, strict=True)


def test_running_status_of_one_data_byte_over_a_meta_event() -> None:
    """The status in force decides how many data bytes follow a meta event."""
    assert [message for _, message in said("00 C3 05 00 FF 01 00 00 06 00 07" + END)] == [
        "C3 05",
        "FF 01 00",
        "C3 06",
        "C3 07",
        EOT,
    ]


@pytest.mark.parametrize(
    ("body", "offset", "text"),
    [
        pytest.param("00 3C 40", 1, "running status without a channel status before it", id="first event"),
        pytest.param("00 FF 01 00 00 3C 40", 5, "running status without", id="only a meta before"),
        pytest.param("00 90 3C 40 00 F0 03 7D 01 F7 10 3C 00", 11, "a sysex event ends it", id="over a sysex"),
        pytest.param("00 90 3C 40 00 F7 01 FA 10 3C 00", 9, "a sysex event ends it", id="over an escape"),
        pytest.param("00 90 3C 40 00 F0 01 F7 00 FF 01 00 10 3C 00", 13, "running status without", id="sysex and meta"),
        pytest.param("00 90 3C FF", 3, "data byte FF in a channel event", id="velocity"),
        pytest.param("00 90 80 40", 2, "data byte 80 in a channel event", id="key"),
        pytest.param("00 90 FF FF", 2, "data byte FF in a channel event", id="both"),
        pytest.param("00 90 3C 40 00 3C 90", 6, "data byte 90 in a channel event", id="velocity, running"),
        pytest.param("00 C0 90", 2, "data byte 90 in a channel event", id="program"),
        pytest.param("00 FF 80 00", 2, "meta event of type 80", id="meta type"),
        pytest.param("00 FF FF 00", 2, "meta event of type FF", id="meta type FF"),
        pytest.param("00 FF 01 0A 41" + END, 3, "10 bytes runs past the end of its track", id="meta too long"),
        pytest.param("00 F0 7F 41 F7" + END, 2, "127 bytes runs past the end of its track", id="sysex too long"),
        pytest.param("81 80 80 80 00 90 3C 40", 0, "number of five bytes", id="delta of five bytes"),
        pytest.param("00 FF 01 81 80 80 80 00", 3, "number of five bytes", id="length of five bytes"),
        pytest.param("00 F0 81 80 80 80 00", 2, "number of five bytes", id="sysex length of five bytes"),
    ],
)
def test_what_cannot_be_read_for_certain_is_refused(body: str, offset: int, text: str) -> None:
    """Bytes that leave the rest of a track in doubt are refused in either reading, with the byte at fault."""
    for strict in (False, True):
        with pytest.raises(MidiFileError) as caught:
            scanned(body + END, strict=strict)
        assert caught.value.offset == offset
        assert text in caught.value.text


@pytest.mark.parametrize("status", [0xF1, 0xF2, 0xF3, 0xF4, 0xF5, 0xF6, 0xF8, 0xF9, 0xFA, 0xFB, 0xFC, 0xFD, 0xFE])
def test_system_messages_cannot_stand_in_a_track(status: int) -> None:
    """A track holds channel, sysex and meta events only (RP-001, "Track Chunks"); the rest goes into escapes."""
    with pytest.raises(MidiFileError, match=f"byte 1: status byte {status:02X}, which can't be in a track by itself"):
        scanned(f"00 {status:02X} 00" + END)


def test_refusal_says_what_to_do_and_where_in_the_file() -> None:
    """The error names the byte in the file, not in the track, and a way out."""
    file = read(one_track("00 90 3C FF" + END))
    with pytest.raises(MidiFileError, match=r"^byte 25: data byte FF .*export the file again, or repair this byte$"):
        list(file.events(file.tracks[0]))


@pytest.mark.parametrize("rest", ["90", "90 3C", "3C", "C0", "FF", "FF 01", "F0"])
@pytest.mark.parametrize("delta", ["00", "81 00", "80 80 80 05"])
def test_event_that_the_end_of_the_track_cuts_off(rest: str, delta: str) -> None:
    """An unfinished event at the end is left as bytes, all before it is read, and it is noted once."""
    body = f"00 90 3C 40 {delta} {rest}"
    events, reader = scanned(body)
    assert [event[4] for event in events] == [unhex("90 3C 40")]
    assert reader.tail == 4
    assert [problem.offset for problem in reader.damage] == [4, 4]
    assert "the track ends inside an event" in reader.damage[0].text
    assert "no end-of-track event" in reader.damage[1].text


@pytest.mark.parametrize("delta", ["05", "81", "FF FF FF"])
def test_delta_time_without_an_event(delta: str) -> None:
    """A delta time at the very end, whole or not, is left as bytes."""
    _, reader = scanned(f"00 90 3C 40 {delta}")
    assert reader.tail == 4


def test_meta_event_that_the_end_of_the_file_cuts_off() -> None:
    """Where the file itself is cut off, an event that runs past its end is left as bytes; else it would be refused."""
    events, reader = scanned("00 90 3C 40 00 F0 20 7D 01", cut=True)
    assert len(events) == 1
    assert reader.tail == 4


def test_track_without_an_end() -> None:
    """A track without its end-of-track event is read whole, and noted."""
    events, reader = scanned("00 90 3C 40 10 3C 00")
    assert len(events) == 2
    assert reader.tail == 7
    assert [str(problem) for problem in reader.damage] == ["byte 7: the track has no end-of-track event; none is added"]


def test_bytes_after_the_end_of_track() -> None:
    """What stands behind the end-of-track event is no event any more; it is left as bytes and noted."""
    events, reader = scanned(END + "00 90 3C FF F4")
    assert [event[4] for event in events] == [unhex(EOT)]
    assert reader.tail == 4
    assert [str(problem) for problem in reader.damage] == ["byte 4: 5 bytes after the end of the track, kept unread"]


def test_well_formed_track_has_no_tail() -> None:
    """A track that ends with its end-of-track event leaves no bytes over."""
    _, reader = scanned("00 90 3C 40 10 3C 00" + END, strict=True)
    assert reader.tail == len(reader.body)
    assert reader.damage == ()


@pytest.mark.parametrize("event", ["FF 01 E4 FD D6 7F 41", "F0 E4 FD D6 7F 41", "F7 FF FF FF 7F 41"])
@pytest.mark.parametrize("cut", [False, True])
def test_huge_claimed_length_takes_no_memory(event: str, cut: bool) -> None:
    """An event that claims 200 MB and more in a tiny file is told from the number alone."""
    tracemalloc.start()
    try:
        if cut:
            scanned("00 " + event, cut=True)
        else:
            with pytest.raises(MidiFileError, match="runs past the end of its track"):
                scanned("00 " + event)
        peak = tracemalloc.get_traced_memory()[1]
    finally:
        tracemalloc.stop()
    assert peak < 1_000_000


@pytest.mark.parametrize(
    ("event", "held"),
    [
        ("FF 51 03 07 A1 20", "07 A1 20"),
        ("FF 01 80 01 41", "41"),
        ("F0 02 7D F7", "7D F7"),
        ("F7 80 01 FA", "FA"),
        ("FF 2F 00", ""),
    ],
)
def test_content_is_what_stands_behind_the_length(event: str, held: str) -> None:
    """The content of a sysex or meta event begins behind its length, be that padded or not."""
    assert content(unhex(event)) == unhex(held)
