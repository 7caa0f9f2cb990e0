"""The file as a whole: header, formats, divisions, and what is refused."""

from __future__ import annotations

import pytest

from rules.errors import MidiFileError
from rules.smf.damage import counted
from rules.smf.midi_file import damage, read
from tests.support.smf_bytes import END, FORMAT_0, FORMAT_1, chunk, header, keep_all, one_track, track, unhex


def test_format_0_example() -> None:
    """The standard's format 0 example: one track, 96 ticks a quarter, every event at its absolute tick."""
    file = read(FORMAT_0, strict=True)
    assert (file.format, file.track_count, file.division, len(file.tracks)) == (0, 1, 96, 1)
    events = [(tick, message.hex()) for tick, _, _, _, message in file.events(file.tracks[0])]
    assert events == [
        (0, "ff580404021808"),
        (0, "ff510307a120"),
        (0, "c005"),
        (0, "c12e"),
        (0, "c246"),
        (0, "923060"),
        (0, "923c60"),
        (96, "914340"),
        (192, "904c20"),
        (384, "823040"),
        (384, "823c40"),
        (384, "814340"),
        (384, "804c40"),
        (384, "ff2f00"),
    ]


def test_format_1_example() -> None:
    """The standard's format 1 example: the same piece in four tracks, the notes ended by note-ons of velocity 0."""
    file = read(FORMAT_1, strict=True)
    assert (file.format, file.track_count, file.division) == (1, 4, 96)
    tracks = [[(tick, message.hex()) for tick, _, _, _, message in file.events(track)] for track in file.tracks]
    assert tracks == [
        [(0, "ff580404021808"), (0, "ff510307a120"), (384, "ff2f00")],
        [(0, "c005"), (192, "904c20"), (384, "904c00"), (384, "ff2f00")],
        [(0, "c12e"), (96, "914340"), (384, "914300"), (384, "ff2f00")],
        [(0, "c246"), (0, "923060"), (0, "923c60"), (384, "923000"), (384, "923c00"), (384, "ff2f00")],
    ]


@pytest.mark.parametrize("data", [FORMAT_0, FORMAT_1])
def test_examples_are_free_of_damage(data: bytes) -> None:
    """A file as the standard wants it has no problems, in its chunks or in its tracks."""
    assert damage(read(data)) == ()


@pytest.mark.parametrize("midi_format", [0, 1, 2])
def test_defined_formats(midi_format: int) -> None:
    """Formats 0, 1 and 2 are read without a word (RP-001, "Formats")."""
    file = read(header(1, midi_format=midi_format) + track(END), strict=True)
    assert file.format == midi_format


def test_unknown_format_is_read_and_pointed_out() -> None:
    """An unknown format may still be read (RP-001, "Formats"); it is noted, and a strict reading refuses it."""
    data = header(1, midi_format=3) + track(END)
    file = read(data)
    assert [(problem.offset, problem.text) for problem in file.problems] == [
        (8, "format 3 is unknown (0, 1 and 2 are defined); it is treated like format 1")
    ]
    assert keep_all(file) == data
    with pytest.raises(MidiFileError, match="byte 8: format 3 is unknown"):
        read(data, strict=True)


def test_format_0_with_two_tracks() -> None:
    """A format 0 file with two tracks is read with both, and pointed out."""
    file = read(header(2, midi_format=0) + track(END) * 2)
    assert len(file.tracks) == 2
    assert [str(problem) for problem in file.problems] == [
        "byte 10: format 0 has one track, this file has 2; they are read like format 1"
    ]


# RP-001, "Header Chunks": bit 15 set, minus the frame rate, the ticks of a frame; E250 and E728 are its examples.
@pytest.mark.parametrize("division", [1, 96, 480, 0x7FFF, 0xE250, 0xE728, 0xE850, 0xE301])
def test_defined_divisions(division: int) -> None:
    """Every division of the standard is kept as its 16 bits, without a word."""
    assert read(header(1, division=division) + track(END), strict=True).division == division


def test_odd_frame_rate_is_read_and_pointed_out() -> None:
    """A division of 16 frames a second names a time, so it is read; as it is not a defined rate, it is noted."""
    data = header(1, division=0xF060) + track(END)
    assert [str(problem) for problem in read(data).problems] == [
        "byte 12: division F060 names 16 frames a second; 24, 25, 29 and 30 are defined"
    ]
    with pytest.raises(MidiFileError, match="byte 12: division F060"):
        read(data, strict=True)


@pytest.mark.parametrize("division", [0x0000, 0xE200, 0x8000])
def test_division_without_ticks_is_refused(division: int) -> None:
    """A division that gives an event no time is refused with its place and what to do."""
    with pytest.raises(MidiFileError, match=f"byte 12: division {division:04X}: no ticks.*set it to 1 or more"):
        read(header(1, division=division) + track(END))


@pytest.mark.parametrize(
    ("data", "offset", "text"),
    [
        (b"", 0, "the file is empty: a MIDI file begins with MThd"),
        (b"M", 0, "not a Standard MIDI File: MThd is missing"),
        (b"\0" * 100, 0, "not a Standard MIDI File: MThd is missing"),
        (b"mthd" + FORMAT_0[4:], 0, "not a Standard MIDI File: MThd is missing"),
        (b"\0" * 128 + FORMAT_0, 0, "one begins at byte 128: remove what is before it"),
        (FORMAT_0[:4], 4, "the file ends inside its header, after 4 of 14 bytes"),
        (FORMAT_0[:13], 13, "the file ends inside its header, after 13 of 14 bytes"),
        (chunk(b"MThd", FORMAT_0[8:14], length=5) + FORMAT_0[14:], 4, "at least 6 are needed"),
        (chunk(b"MThd", b"") + FORMAT_0[14:], 4, "at least 6 are needed"),
        (header(0), 14, "no track follows the header; the file has no music"),
        (header(1), 14, "no track follows the header"),
        (header(1) + chunk(b"XFIH", b"abc"), 14, "no track follows the header"),
    ],
)
def test_what_is_no_midi_file_is_refused(data: bytes, offset: int, text: str) -> None:
    """A file without header, division or track is refused in either reading, with the byte at fault."""
    for strict in (False, True):
        with pytest.raises(MidiFileError) as caught:
            read(data, strict=strict)
        assert caught.value.offset == offset
        assert text in caught.value.text


@pytest.mark.parametrize(("claimed", "actual"), [(0, 1), (1, 2), (3, 2), (65_535, 1)])
def test_wrong_number_of_tracks(claimed: int, actual: int) -> None:
    """All tracks that are there are read, whatever number the header claims, and the number stays as it is."""
    data = header(claimed) + track(END) * actual
    file = read(data)
    assert (file.track_count, len(file.tracks)) == (claimed, actual)
    assert [str(problem) for problem in file.problems] == [
        f"byte 10: the header claims {counted(claimed, 'track')}, the file has {actual}"
    ]
    assert keep_all(file) == data


def test_many_tracks_without_a_tempo() -> None:
    """A file of 380 tracks without a tempo, as real ones have, is read whole."""
    assert len(read(header(380) + track(END) * 380, strict=True).tracks) == 380


def test_damage_is_that_of_chunks_and_tracks() -> None:
    """The whole damage of a file is that of its chunks, then that of its tracks, with places in the file."""
    data = header(3) + track("00 90 3C 40") + track(END + "00")
    assert [(problem.offset, problem.text.split(";")[0]) for problem in damage(read(data))] == [
        (10, "the header claims 3 tracks, the file has 2"),
        (26, "the track has no end-of-track event"),
        (38, "1 byte after the end of the track, kept unread"),
    ]


def test_strict_reading_refuses_damage_inside_a_track() -> None:
    """A strict reading finds the chunks in order and refuses when the events are read."""
    data = header(1) + track("00 90 3C 40")
    file = read(data, strict=True)
    with pytest.raises(MidiFileError, match="byte 26: the track has no end-of-track event"):
        damage(file)


def test_body_is_the_track_without_its_chunk_header() -> None:
    """A track's body is what lies between its chunk header and its end."""
    file = read(one_track("00 90 3C 40" + END))
    assert file.body(file.tracks[0]) == unhex("00 90 3C 40" + END)
