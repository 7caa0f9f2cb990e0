"""Variable-length quantities."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from rules.errors import MidiFileError
from rules.smf import vlq
from tests.support.smf_bytes import unhex

# Standard MIDI Files 1.0 (RP-001), "Conventions": all twelve rows of its table.
TABLE = [
    (0x00000000, "00"),
    (0x00000040, "40"),
    (0x0000007F, "7F"),
    (0x00000080, "81 00"),
    (0x00002000, "C0 00"),
    (0x00003FFF, "FF 7F"),
    (0x00004000, "81 80 00"),
    (0x00100000, "C0 80 00"),
    (0x001FFFFF, "FF FF 7F"),
    (0x00200000, "81 80 80 00"),
    (0x08000000, "C0 80 80 00"),
    (0x0FFFFFFF, "FF FF FF 7F"),
]
# The same document uses these in its examples.
EXAMPLES = [(200, "81 48"), (100, "64"), (192, "81 40"), (288, "82 20"), (384, "83 00")]
# RFC 6295 section 3 (second-hand): delta times of RTP-MIDI use the same code.
RTP_MIDI = [(127, "7F"), (16_383, "FF 7F")]

ROWS = pytest.mark.parametrize(("number", "form"), [*TABLE, *EXAMPLES, *RTP_MIDI])
NUMBERS = st.integers(0, vlq.LARGEST)


@ROWS
def test_encode_gives_the_standards_form(number: int, form: str) -> None:
    """A number is written as the standard's table has it."""
    assert vlq.encode(number) == unhex(form)


@ROWS
def test_decode_reads_the_standards_form(number: int, form: str) -> None:
    """A number is read from the form the standard's table gives, and the position behind it returned."""
    assert vlq.decode(b"\xff" + unhex(form) + b"\x55", 1) == (number, 1 + len(unhex(form)))


@given(NUMBERS)
def test_what_is_encoded_decodes(number: int) -> None:
    """Every allowed number survives being written and read, in at most four bytes."""
    form = vlq.encode(number)
    assert vlq.decode(form, 0) == (number, len(form))
    assert len(form) <= 4


@pytest.mark.parametrize("form", ["80 05", "80 80 05", "80 80 80 05"])
def test_padded_number_is_read(form: str) -> None:
    """Leading 80 bytes add nothing to a number but length."""
    assert vlq.decode(unhex(form), 0) == (5, len(unhex(form)))


@pytest.mark.parametrize("number", [-1, 0x10000000])
def test_number_outside_the_range_is_not_written(number: int) -> None:
    """A number that four bytes can't hold is refused with the range."""
    with pytest.raises(ValueError, match=r"0 to 268435455 is allowed"):
        vlq.encode(number)


@pytest.mark.parametrize("form", ["81 80 80 80 00", "FF FF FF FF 7F", "80 80 80 80"])
def test_five_bytes_are_an_error_with_the_place(form: str) -> None:
    """A number that goes on after four bytes is refused with the byte in the file at which it begins."""
    with pytest.raises(MidiFileError, match=r"byte 102: .*at most four") as caught:
        vlq.decode(b"\0\0" + unhex(form), 2, base=100)
    assert caught.value.offset == 102


@pytest.mark.parametrize("form", ["", "81", "81 80", "81 80 80"])
def test_number_cut_off_by_the_end(form: str) -> None:
    """A number that the data cuts off is an IndexError, which the scanner takes as the end of the track."""
    with pytest.raises(IndexError):
        vlq.decode(unhex(form), 0)
