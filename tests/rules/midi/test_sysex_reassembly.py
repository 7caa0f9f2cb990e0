"""Sysex with other messages within it is made whole (MIDI 1.0 Detailed Specification 4.2.1 p. 30)."""

from __future__ import annotations

from hypothesis import given
from hypothesis import strategies as st

from rules.midi.messages import message_fault
from rules.midi.sysex_reassembly import SysexReassembly

CLOCK, SENSING = b"\xf8", b"\xfe"


def test_a_clock_within_a_sysex_comes_first() -> None:
    """As one message, as some systems hand it over, or cut at the clock, as others do."""
    assert SysexReassembly().mend(b"\xf0\x7d\x01\xf8\x02\xf7") == [CLOCK, b"\xf0\x7d\x01\x02\xf7"]
    mender = SysexReassembly()
    assert mender.mend(b"\xf0\x7d\x01\xf8") == [CLOCK]
    assert mender.mend(b"\x02\xf7") == [b"\xf0\x7d\x01\x02\xf7"]


@given(st.lists(st.tuples(st.binary(max_size=9), st.sampled_from([CLOCK, SENSING])), min_size=1), st.binary(max_size=9))
def test_a_sysex_in_any_pieces_is_made_whole(pieces: list[tuple[bytes, bytes]], rest: bytes) -> None:
    """Wherever it is cut, every real-time message comes, and the sysex once, at its end."""
    mender = SysexReassembly()
    came: list[bytes] = []
    data = b""
    for at, (piece, real_time) in enumerate(pieces):
        piece = bytes(byte & 0x7F for byte in piece)
        data += piece
        message = (b"" if at else b"\xf0") + piece + real_time
        came += mender.mend(message) if message_fault(message) else [message]
    rest = bytes(byte & 0x7F for byte in rest)
    came += mender.mend(rest + b"\xf7")
    assert came == [real_time for _, real_time in pieces] + [b"\xf0" + data + rest + b"\xf7"]


def test_a_message_breaks_a_sysex_off() -> None:
    """What comes behind is heard; of the sysex nothing is."""
    mender = SysexReassembly()
    assert mender.mend(b"\xf0\x7d\x01\x90\x3c\x64") == [b"\x90\x3c\x64"]
    assert mender.mend(b"\x02\xf7") == []


def test_what_is_no_message_stays_none() -> None:
    """Stray data, undefined messages, a part of a note; a sysex that begins anew forgets the one before."""
    mender = SysexReassembly()
    for faulty in (b"", b"\x01\x02", b"\xf7", b"\xf9", b"\x90\x3c", b"\x90\xf8\x01", b"\xf4\x01"):
        assert mender.mend(faulty) == []
    assert mender.mend(b"\xf0\x01\xf8") == [CLOCK]
    assert mender.mend(b"\xf0\x02\xf8\x03\xf7") == [CLOCK, b"\xf0\x02\x03\xf7"]
    assert mender.mend(b"\x01\xf7") == []


def test_a_sysex_without_an_end_is_forgotten() -> None:
    """Before it fills the memory."""
    mender = SysexReassembly()
    piece = bytes(3_000_000) + CLOCK
    assert mender.mend(b"\xf0" + piece) == [CLOCK]
    assert mender.mend(piece) == [CLOCK]
    assert mender.mend(b"\x01\xf7") == []
