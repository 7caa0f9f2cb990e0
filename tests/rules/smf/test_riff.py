"""The RIFF form around a MIDI file."""

from __future__ import annotations

import pytest

from rules.errors import MidiFileError
from rules.smf.midi_file import read
from rules.smf.writing import write
from tests.support.smf_bytes import END, FORMAT_0, header, one_track, passed_through, track, unhex


def riff(*chunks: tuple[bytes, bytes], behind: bytes = b"") -> bytes:
    """Return a RIFF file of type RMID, each chunk padded to an even size."""
    inner = b"RMID"
    for kind, body in chunks:
        inner += kind + len(body).to_bytes(4, "little") + body + b"\0" * (len(body) % 2)
    return b"RIFF" + len(inner).to_bytes(4, "little") + inner + behind


INFO = (b"LIST", b"INFOINAM\x04\0\0\0abc\0")
ODD = (b"DISP", b"odd")
BODY = unhex("00 90 3C 40 10 3C 00" + END)


@pytest.mark.parametrize(
    "data",
    [
        pytest.param(riff((b"data", FORMAT_0)), id="alone, odd size"),
        pytest.param(riff((b"data", FORMAT_0 + b"\0")), id="alone, even size"),
        pytest.param(riff(ODD, INFO, (b"data", FORMAT_0)), id="behind other chunks"),
        pytest.param(riff((b"data", FORMAT_0), INFO, behind=b"tail"), id="before others and stray bytes"),
        pytest.param(riff((b"data", FORMAT_0))[:-1], id="padding missing"),
    ],
)
def test_wrapped_file_is_read_and_passes_through(data: bytes) -> None:
    """A wrapped file is read like a bare one, and comes out byte for byte."""
    file = read(data, strict=True)
    assert (file.format, file.division, len(file.tracks)) == (0, 96, 1)
    assert file.body(file.tracks[0]) == FORMAT_0[22:]
    assert set(passed_through(data)) == {data}


@pytest.mark.parametrize("first", [INFO, ODD])
@pytest.mark.parametrize("last", [INFO, ODD])
@pytest.mark.parametrize("change", range(-3, 4))
def test_sizes_and_padding_follow_the_file(first: tuple[bytes, bytes], last: tuple[bytes, bytes], change: int) -> None:
    """When the file inside grows or shrinks, the two sizes and the padding byte are those of the new size."""
    old = header(1) + track("00 90 3C 40 10 3C 00" + END)
    body = BODY + b"\0" * change if change >= 0 else BODY[:change]
    new = header(1) + track(body.hex())
    file = read(riff(first, (b"data", old), last, behind=b"xyz"))
    assert write(file, [body]) == riff(first, (b"data", new), last, behind=b"xyz")


def test_missing_padding_at_the_end_is_not_missed() -> None:
    """A file whose last padding byte is missing gets a whole one only when its size changes."""
    file = read(riff((b"data", header(1) + track(BODY.hex())))[:-1])
    longer = BODY + b"\0\0"
    assert write(file, [longer]) == riff((b"data", header(1) + track(longer.hex())))


def test_wrong_outer_size_does_not_break_writing() -> None:
    """A RIFF size of 0 is left alone while nothing changes, and is no obstacle when something does."""
    data = b"RIFF\0\0\0\0" + riff((b"data", one_track(BODY.hex())))[8:]
    assert set(passed_through(data)) == {data}
    changed = write(read(data), [BODY[:-2]])
    assert read(changed).body(read(changed).tracks[0]) == BODY[:-2]


def test_data_chunk_claims_more_than_there_is() -> None:
    """A data chunk that the end of the file cuts off is read as far as it goes."""
    data = riff((b"data", FORMAT_0 + b"\0" * 100))[: 20 + len(FORMAT_0)]
    assert [str(problem) for problem in read(data).problems] == [
        "byte 16: the RIFF chunk claims 181 bytes, 81 are there"
    ]
    assert set(passed_through(data)) == {data}
    with pytest.raises(MidiFileError, match="byte 16: the RIFF chunk claims 181 bytes"):
        read(data, strict=True)


def test_size_counts_in_all_its_four_bytes() -> None:
    """A size of 16 MiB and more is taken as what it says."""
    data = riff((b"data", FORMAT_0))
    data = data[:19] + b"\x01" + data[20:]
    assert [str(problem) for problem in read(data).problems] == [
        "byte 16: the RIFF chunk claims 16777297 bytes, 82 are there"
    ]


@pytest.mark.parametrize(
    "data", [riff(), riff(INFO), riff()[:-4] + b"RMID\0", riff((b"data", b""))[:-5], riff((b"data", b""))[:-1]]
)
def test_wrapper_without_a_midi_file(data: bytes) -> None:
    """A wrapper that holds no MIDI file is refused and called what it is."""
    with pytest.raises(MidiFileError, match="byte 12: a RIFF file without a data chunk"):
        read(data)


def test_wrapper_around_something_else() -> None:
    """What lies in the data chunk must be a MIDI file; places are those of the whole file."""
    with pytest.raises(MidiFileError, match="byte 20: not a Standard MIDI File"):
        read(riff((b"data", b"something else")))


def test_empty_data_chunk() -> None:
    """An empty data chunk is an empty file."""
    with pytest.raises(MidiFileError, match="byte 20: the file is empty"):
        read(riff((b"data", b"")))


def test_riff_of_another_type() -> None:
    """A RIFF file of another type, a sound file say, is no MIDI file."""
    with pytest.raises(MidiFileError, match="byte 0: not a Standard MIDI File"):
        read(b"RIFF\x04\0\0\0WAVE")
