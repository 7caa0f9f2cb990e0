"""Where tracks lie when chunk lengths, types and the bytes between them are odd or wrong."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from rules.errors import MidiFileError
from rules.smf.chunks import _Finder, _undamaged
from rules.smf.damage import DamageLog, counted
from rules.smf.midi_file import MidiFile, damage, read
from tests.support.smf_bytes import END, FORMAT_0, chunk, header, keep_all, passed_through, track, unhex

NOTE = "00 90 3C 40 10 3C 00"
WHOLE = NOTE + END
SIZE = len(unhex(WHOLE))


def bodies(file: MidiFile) -> list[bytes]:
    """Return the tracks' bodies."""
    return [file.body(each) for each in file.tracks]


def problems(data: bytes) -> list[str]:
    """Return the problems of a file's chunks, having seen that it passes through unchanged."""
    file = read(data)
    assert keep_all(file) == data
    return [str(problem) for problem in file.problems]


@pytest.mark.parametrize(
    "data",
    [
        pytest.param(header(1) + chunk(b"XFIH", b"anything") + track(WHOLE), id="before the track"),
        pytest.param(header(1) + track(WHOLE) + chunk(b"XFKM", b"anything"), id="after the track"),
        pytest.param(header(1) + chunk(b"    ", b"") + track(WHOLE), id="empty, of blanks"),
        pytest.param(header(1) + chunk(b"XFIH", track("00 FF 01 01 41")) + track(WHOLE), id="with a track inside"),
        pytest.param(header(1) + track(WHOLE) + chunk(b"XFIH", track(END)), id="last, with a track inside"),
    ],
)
def test_unknown_chunks_are_skipped_and_kept(data: bytes) -> None:
    """Chunks of unknown types must be expected (RP-001, "Chunks"): they are no damage, and stay where they are."""
    assert bodies(read(data, strict=True)) == [unhex(WHOLE)]
    assert set(passed_through(data)) == {data}


def test_unknown_chunk_between_tracks() -> None:
    """A chunk between two tracks leaves both tracks readable."""
    data = header(2) + track(WHOLE) + chunk(b"junk", b"\0" * 5) + track(END)
    assert bodies(read(data, strict=True)) == [unhex(WHOLE), unhex(END)]


@pytest.mark.parametrize("extra", [b"\0", b"ab", b"MTrk", b"x" * 300])
def test_longer_header_is_honoured(extra: bytes) -> None:
    """A header may be longer than six bytes (RP-001, "Header Chunks"); what it holds more is kept."""
    data = header(1, extra=extra) + track(WHOLE)
    assert bodies(read(data, strict=True)) == [unhex(WHOLE)]
    assert set(passed_through(data)) == {data}


@pytest.mark.parametrize(
    "stray", [b"\0", b"\0\0\0", b"\0" + unhex(END), b"\x1a" * 40, b"made with a tool", b"abc", b"\xff" * 8]
)
def test_stray_bytes_at_the_end_are_kept(stray: bytes) -> None:
    """Bytes after the last chunk are no damage, as no music is lost, and stay."""
    data = header(1) + track(WHOLE) + stray
    assert bodies(read(data, strict=True)) == [unhex(WHOLE)]
    assert set(passed_through(data)) == {data}


def test_stray_bytes_between_tracks() -> None:
    """Bytes between two tracks that are no chunk are kept and pointed out, and the second track is found."""
    data = header(2) + track(WHOLE) + b"\0\1\2" + track(END)
    assert bodies(read(data)) == [unhex(WHOLE), unhex(END)]
    assert problems(data) == ["byte 33: 3 bytes outside any chunk, kept unread"]


@pytest.mark.parametrize("stray", [b"made with a tool", b"abc\x7f\0\0\0\x02"])
def test_stray_bytes_that_look_like_a_chunk(stray: bytes) -> None:
    """Letters whose length doesn't fit the file, or an unprintable type, are no chunk: the next track is found."""
    data = header(2) + track(WHOLE) + stray + track(END)
    assert bodies(read(data)) == [unhex(WHOLE), unhex(END)]
    assert problems(data) == [f"byte 33: {len(stray)} bytes outside any chunk, kept unread"]


def test_track_inside_a_chunk_that_does_not_fit() -> None:
    """A chunk that claims one byte more than the file has is none, so a track inside it is a track."""
    data = header(2) + track(WHOLE) + chunk(b"XFIH", track(END), length=13)
    assert bodies(read(data)) == [unhex(WHOLE), unhex(END)]
    assert problems(data) == ["byte 33: 8 bytes outside any chunk, kept unread"]


def test_track_without_an_end_before_another_chunk() -> None:
    """A track that lacks its end-of-track event doesn't find one in the chunk behind it."""
    data = header(1) + track(NOTE) + chunk(b"XFKM", unhex(END))
    assert bodies(read(data, strict=True)) == [unhex(NOTE)]


def test_second_file_is_kept_but_not_read() -> None:
    """A complete file behind the first, as it occurs in real files, is kept byte for byte and pointed out."""
    data = FORMAT_0 + FORMAT_0
    assert len(read(data).tracks) == 1
    assert problems(data) == ["byte 81: a second MIDI file of 81 bytes begins here; it is kept, but no rule reaches it"]
    with pytest.raises(MidiFileError, match="byte 81: a second MIDI file"):
        read(data, strict=True)


def test_second_file_behind_stray_bytes() -> None:
    """A second file is found behind stray bytes too, and its tracks aren't taken for the first file's."""
    data = FORMAT_0 + b"\0\0" + FORMAT_0
    assert len(read(data).tracks) == 1
    assert problems(data) == [
        "byte 81: 2 bytes outside any chunk, kept unread",
        "byte 83: a second MIDI file of 81 bytes begins here; it is kept, but no rule reaches it",
    ]


@pytest.mark.parametrize("kind", [b"mTrk", b"MTRK", b"mtrk"])
def test_track_type_in_another_case(kind: bytes) -> None:
    """A track whose type is spelled in another case is read as a track and pointed out, and the spelling stays."""
    data = header(1) + chunk(kind, unhex(WHOLE))
    assert bodies(read(data)) == [unhex(WHOLE)]
    assert problems(data) == [f"byte 14: chunk type {kind.decode()} is read as MTrk"]


def test_header_length_past_the_first_track() -> None:
    """A header whose length leads to no chunk is taken to end where the first track begins."""
    data = chunk(b"MThd", FORMAT_0[8:14], length=22) + FORMAT_0[14:]
    assert len(read(data).tracks) == 1
    assert problems(data) == ["byte 4: the header claims 22 bytes, but a track begins at byte 14"]


def test_header_length_past_the_end() -> None:
    """A header that claims more than the file holds is read around like any wrong length."""
    data = chunk(b"MThd", FORMAT_0[8:14], length=0xFFFFFFFF) + FORMAT_0[14:]
    assert len(read(data).tracks) == 1
    assert problems(data) == ["byte 4: the header claims 4294967295 bytes, but a track begins at byte 14"]


def test_header_length_past_the_end_of_a_file_without_tracks() -> None:
    """A header that claims everything leaves no track."""
    with pytest.raises(MidiFileError, match="no track follows the header"):
        read(chunk(b"MThd", FORMAT_0[8:14], length=1000))


def test_stray_bytes_behind_the_header() -> None:
    """A header of the right length, followed by bytes that are no chunk, loses no track."""
    data = header(1) + b"\0\0\0" + track(WHOLE)
    assert bodies(read(data)) == [unhex(WHOLE)]
    assert problems(data) == ["byte 14: 3 bytes outside any chunk, kept unread"]


@pytest.mark.parametrize("length", [SIZE + 1, SIZE + 100, 0xFFFFFFFF])
def test_last_track_claims_more_than_there_is(length: int) -> None:
    """A length past the end of the file is bounded by the file."""
    data = header(1) + track(WHOLE, length=length)
    file = read(data)
    assert bodies(file) == [unhex(WHOLE)]
    assert file.tracks[0].cut
    assert problems(data) == [f"byte 18: the track claims {length} bytes, but the file ends after {SIZE}"]
    with pytest.raises(MidiFileError, match="byte 18: the track claims"):
        read(data, strict=True)


@pytest.mark.parametrize("more", range(1, 40))
def test_length_reaches_into_the_next_track(more: int) -> None:
    """A track whose length reaches into or over the next ones ends with its end-of-track event."""
    data = header(3) + track(WHOLE, length=SIZE + more) + track(WHOLE) + track(END)
    assert bodies(read(data)) == [unhex(WHOLE), unhex(WHOLE), unhex(END)]
    assert problems(data) == [f"byte 18: the track claims {SIZE + more} bytes, but it ends after {SIZE}"]


@pytest.mark.parametrize(("claimed", "whole"), [(1, 2), (2, 3), (7, 2)])
def test_length_that_swallows_a_track_is_found_out_whatever_the_header_claims(claimed: int, whole: int) -> None:
    """Two lies that agree with each other are still contradicted by the end-of-track event and what follows it."""
    swallowed = track(WHOLE, length=2 * SIZE + 8) + track(WHOLE)
    data = header(claimed) + swallowed + track(WHOLE) * (whole - 2)
    assert bodies(read(data)) == [unhex(WHOLE)] * whole
    assert f"byte 18: the track claims {2 * SIZE + 8} bytes, but it ends after {SIZE}" in problems(data)
    with pytest.raises(MidiFileError, match=r"byte 18: the track claims"):
        read(data, strict=True)


LENGTHS = st.one_of(st.integers(0, 80), st.sampled_from([0x7FFFFFFF, 0x80000000, 0xFFFFFFF9, 0xFFFFFFFF]))
BODIES = st.lists(
    st.sampled_from([NOTE, END, WHOLE, "", "4D 54 72 6B", "00 FF 01 0B FF 2F 00 4D 54 72 6B 00 00 00 04"])
)


@given(
    st.lists(st.tuples(BODIES, st.one_of(st.none(), LENGTHS)), max_size=4),
    st.integers(0, 5),
    st.sampled_from([b"", b"\0", b"MTrk", b"XFIH\0\0\0\0"]),
)
def test_the_short_way_over_sound_chunks_finds_what_the_search_finds(
    chunks: list[tuple[list[str], int | None]], claimed: int, behind: bytes
) -> None:
    """Or it leaves the file to the search."""
    data = header(claimed) + b"".join(track("".join(body), length) for body, length in chunks) + behind
    found = _Finder(data, 0, len(data), DamageLog(strict=False)).tracks()
    assert _undamaged(data, 0, len(data)) in ((), found)


def test_length_past_the_end_with_more_tracks_behind() -> None:
    """A length past the end of the file doesn't swallow the tracks behind, even if the track has no end."""
    data = header(2) + track(NOTE, length=0x7FFFFFFF) + track(WHOLE)
    assert bodies(read(data)) == [unhex(NOTE), unhex(WHOLE)]
    assert not read(data).tracks[0].cut
    assert problems(data) == ["byte 18: the track claims 2147483647 bytes, but it ends after 7"]


@pytest.mark.parametrize("length", range(SIZE))
@pytest.mark.parametrize("behind", [b"", track(END), b"\0\0\0\0"], ids=["nothing", "a track", "stray bytes"])
def test_length_is_too_short(length: int, behind: bytes) -> None:
    """A track whose length is too short is read up to its end-of-track event, so that no note is left out."""
    data = header(1 + behind.startswith(b"MTrk")) + track(WHOLE, length=length) + behind
    assert bodies(read(data))[0] == unhex(WHOLE)
    assert problems(data) == [f"byte 18: the track claims {counted(length, 'byte')}, but it ends after {SIZE}"]


def test_short_length_without_an_end_of_track() -> None:
    """Where no end-of-track event says otherwise, the length counts and what follows is kept as stray bytes."""
    data = header(1) + track(NOTE, length=4)
    file = read(data)
    assert bodies(file) == [unhex("00 90 3C 40")]
    assert [problem.text for problem in damage(file)] == ["the track has no end-of-track event; none is added"]
    assert set(passed_through(data)) == {data}


def test_empty_track() -> None:
    """An empty track is read, lacks its end, and gets none."""
    data = header(2) + track("") + track(END)
    file = read(data)
    assert bodies(file) == [b"", unhex(END)]
    assert [str(problem) for problem in damage(file)] == ["byte 22: the track has no end-of-track event; none is added"]
    assert set(passed_through(data)) == {data}


def test_track_type_in_a_text_of_a_healthy_file() -> None:
    """The letters MTrk in a text event begin no track."""
    data = header(1) + track("00 FF 01 04 4D 54 72 6B" + END)
    assert len(read(data, strict=True).tracks) == 1


@pytest.mark.parametrize("size", range(22))
def test_file_cut_before_its_music(size: int) -> None:
    """A file that is cut off before its first event is refused at the place of the cut or before."""
    with pytest.raises(MidiFileError) as caught:
        read(FORMAT_0[:size])
    assert caught.value.offset <= size


@pytest.mark.parametrize("size", range(22, len(FORMAT_0)))
def test_file_cut_in_its_music(size: int) -> None:
    """A file that is cut off in its track is read as far as it goes, and passes through unchanged."""
    data = FORMAT_0[:size]
    assert read(data).tracks[0].cut
    assert set(passed_through(data)) == {data}
    with pytest.raises(MidiFileError, match="the track claims 59 bytes, but the file ends after"):
        read(data, strict=True)


def test_broken_chunks_without_number() -> None:
    """A file of nothing but track headers that claim everything is read in one go over it, header by header."""
    data = header(1) + b"MTrk\xff\xff\xff\xff" * 20_000
    file = read(data)
    assert len(file.tracks) == 20_000
    assert all(each.body == each.end for each in file.tracks)
