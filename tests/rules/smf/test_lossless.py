"""What must come out byte for byte as it went in."""

from __future__ import annotations

import hashlib

import pytest

from rules.smf.midi_file import damage, read
from tests.support.smf_bytes import END, FORMAT_0, FORMAT_1, chunk, header, one_track, passed_through, track, unhex


@pytest.mark.parametrize(
    ("data", "digest"),
    [
        (FORMAT_0, "9c512dc6fc73b8bef93a39c93142b7e828cfe51bf5340b84fe0fc87f0b8536ed"),
        (FORMAT_1, "83ba1f523c7d4591f9c190d76f5fc62e04c3eb0b4a87132e03067224061729c7"),
    ],
    ids=["format 0", "format 1"],
)
def test_example_files(data: bytes, digest: str) -> None:
    """Both example files of RP-001 (their hashes as found in two independent copies) pass through unchanged."""
    assert hashlib.sha256(data).hexdigest() == digest
    assert set(passed_through(data)) == {data}


# Each row is a case that general MIDI libraries are known to change on the way through. False: damaged, yet readable.
@pytest.mark.parametrize(
    ("body", "clean"),
    [
        pytest.param("00 F0 03 43 12 00 81 48 F7 06 43 12 00 43 12 00 64 F7 04 43 12 00 F7", True, id="packets"),
        pytest.param("00 F7 01 FA", True, id="escape of start"),
        pytest.param("00 F7 03 F2 00 08", True, id="escape of a song position"),
        pytest.param("00 90 3C 40 10 90 3C 00", True, id="status repeated"),
        pytest.param("00 90 3C 40 10 3C 00", True, id="running status"),
        pytest.param("00 90 3C 40 10 3C 00 00 90 3E 40 01 90 3E 00 00 40 40", True, id="both by turns"),
        pytest.param("80 00 90 3C 40", True, id="padded delta time"),
        pytest.param("80 80 80 10 90 3C 40 80 10 3C 00", True, id="padded delta times and running status"),
        pytest.param("00 FF 01 80 01 41", True, id="padded length"),
        pytest.param("00 F0 80 80 02 7D F7", True, id="padded length of a sysex"),
        pytest.param("00 90 3C 40 00 FF 01 01 41 10 3C 00", False, id="running status over a meta"),
        pytest.param("00 FF 51 04 07 A1 20 00", True, id="tempo of four bytes"),
        pytest.param("00 FF 00 00", True, id="sequence number without content"),
        pytest.param("00 FF 59 02 FF FF", True, id="key signature of mode 255"),
        pytest.param("00 F0 02 43 12", True, id="sysex without F7"),
        pytest.param("00 FF 60 02 01 02", True, id="unknown meta"),
        pytest.param("00 FF 20 01 03 00 FF 21 01 02", True, id="channel prefix and port"),
        pytest.param("00 FF 03 06 8B 40 E9 FC 00 FF", True, id="8-bit text"),
        pytest.param("FF FF FF 7F 90 3C 40", True, id="longest delta time"),
        pytest.param("00 90 3C 40 83 60", True, id="delta time before the end of track"),
    ],
)
def test_track_keeps_its_bytes(body: str, clean: bool) -> None:
    """A track in a form that few programs write passes through unchanged."""
    # where the body ends in a delta time, that is the end of track's own
    data = one_track(body + ("FF 2F 00" if body.endswith("83 60") else END))
    assert set(passed_through(data)) == {data}
    assert (damage(read(data)) == ()) is clean


@pytest.mark.parametrize(
    "data",
    [
        pytest.param(one_track("00 90 3C 40"), id="no end of track"),
        pytest.param(one_track(END + "00 90 3C 40" + END), id="events after it"),
        pytest.param(one_track(END + "F4 FF 80"), id="rubbish after it"),
        pytest.param(one_track(""), id="empty track"),
        pytest.param(one_track("00 90 3C 40 10 3C"), id="cut event with running status"),
        pytest.param(header(1) + track("00 90 3C 40" + END, length=500), id="length past the end"),
        pytest.param(header(2) + track("00 90 3C 40" + END, length=10) + track(END), id="length into the next track"),
        pytest.param(header(7) + track(END), id="wrong number of tracks"),
        pytest.param(FORMAT_0 + FORMAT_1, id="a second file"),
    ],
)
def test_damaged_file_keeps_its_bytes(data: bytes) -> None:
    """Damage that is read around stays as it is too: nothing is mended that nobody asked to mend."""
    assert damage(read(data)) != ()
    assert set(passed_through(data)) == {data}


@pytest.mark.parametrize(
    "data",
    [
        pytest.param(header(1) + chunk(b"XFIH", b"\0\1\2") + track(END), id="alien chunk before a track"),
        pytest.param(header(1) + track(END) + chunk(b"XFKM", b"\0\1\2"), id="alien chunk after it"),
        pytest.param(header(1) + track(END) + b"\r\n\0", id="3 stray bytes"),
        pytest.param(header(1, extra=b"\1\2") + track(END), id="header of 8 bytes"),
        pytest.param(header(2, midi_format=2) + track(END) * 2, id="format 2"),
        pytest.param(header(1, division=0xE250) + track(END), id="SMPTE division"),
    ],
)
def test_file_keeps_its_bytes(data: bytes) -> None:
    """A sound file of any shape passes through unchanged, without a word."""
    assert damage(read(data, strict=True)) == ()
    assert set(passed_through(data)) == {data}


def test_all_oddities_in_one_file() -> None:
    """The oddities don't disturb each other."""
    data = b"".join(
        (
            header(3, midi_format=2, division=0xE728, extra=b"MTrk"),
            chunk(b"abcd", b"MTrk"),
            track("80 00 FF 01 80 01 41 00 90 3C 40 80 10 3C 00 00 F0 02 43 12 00 F7 02 00 F7 00 F7 01 FA" + END),
            chunk(b"    ", b""),
            track("FF FF FF 7F E3 00 40 FF FF FF 7F 01 40" + END),
            track("00 FF 59 02 FF FF 00 D5 10 00 11 00 C5 00" + END),
            unhex("00 00 4D 54"),
        )
    )
    assert damage(read(data, strict=True)) == ()
    assert set(passed_through(data)) == {data}
