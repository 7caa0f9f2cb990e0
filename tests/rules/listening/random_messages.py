"""Messages drawn at random, as ports bring them."""

from __future__ import annotations

from hypothesis import strategies as st

DATA = st.integers(0, 127)
ANY_MESSAGE = (
    st.builds(
        lambda status, one, two: bytes((status, one, two)),
        st.integers(0x80, 0xBF) | st.integers(0xE0, 0xEF),
        DATA,
        DATA,
    )
    | st.builds(lambda status, one: bytes((status, one)), st.integers(0xC0, 0xDF), DATA)
    | st.sampled_from([0xF6, 0xF8, 0xFA, 0xFB, 0xFC, 0xFE, 0xFF]).map(lambda status: bytes((status,)))
    | st.binary(max_size=12).map(lambda data: b"\xf0" + bytes(byte & 0x7F for byte in data) + b"\xf7")
    | st.sampled_from([b"\xf1\x10", b"\xf2\x01\x02", b"\xf3\x05"])
)
"""Any complete message that a port can bring."""
