"""Sysex events: complete messages, packets and escapes."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from rules.smf.track_events import content
from rules.smf.writing import stored
from tests.support.smf_bytes import END, one_track, passed_through, unhex


@pytest.mark.parametrize(
    "body",
    [
        # RP-001, "sysex event": the stored form of a complete message, and its example of a message in three packets.
        pytest.param("00 F0 05 43 12 00 07 F7", id="complete"),
        pytest.param(
            "00 F0 03 43 12 00 81 48 F7 06 43 12 00 43 12 00 64 F7 04 43 12 00 F7",
            id="packets",
        ),
        pytest.param("00 F7 01 FA 00 F7 03 F2 00 08", id="escapes"),
        pytest.param("00 F7 02 43 F7", id="escape that happens to end in F7"),
        pytest.param("00 F0 02 43 12", id="without F7"),
        pytest.param("00 F0 02 43 12 00 F0 02 43 F7", id="abandoned for another"),
        pytest.param("00 F0 02 43 12 00 90 3C 40 00 F7 01 FA", id="abandoned for a note"),
        pytest.param("00 F0 01 43 00 FF 01 00 00 F7 01 F7", id="a meta event between packets"),
        pytest.param("00 F0 01 43 00 F7 01 F7 00 F7 01 F8", id="escape after packets"),
        pytest.param("00 F0 00 00 F7 00 00 F7 01 F7", id="empty packets"),
        pytest.param("00 F7 00", id="empty escape"),
        pytest.param("00 F0 01 F7", id="empty message"),
        pytest.param("00 F0 77" + " 00" * 0x76 + " F7", id="long"),
    ],
)
def test_sysex_events_keep_their_bytes(body: str) -> None:
    """Complete messages, packets and escapes, whole, abandoned or empty."""
    data = one_track(body + END)
    assert set(passed_through(data)) == {data}


@pytest.mark.parametrize(
    ("event", "sent"),
    [
        ("F0 05 43 12 00 07 F7", "43 12 00 07 F7"),
        ("F0 80 05 43 12 00 07 F7", "43 12 00 07 F7"),
        ("F0 03 43 12 00", "43 12 00"),
        ("F7 04 43 12 00 F7", "43 12 00 F7"),
        ("F7 03 F2 00 08", "F2 00 08"),
    ],
)
def test_what_an_event_sends(event: str, sent: str) -> None:
    """What stands behind the length; an F0 event sends its status before that (RP-001, "sysex event")."""
    assert content(unhex(event)) == unhex(sent)


@pytest.mark.parametrize(
    ("message", "event"),
    [
        ("90 3C 40", "90 3C 40"),
        ("C0 05", "C0 05"),
        ("F0 43 12 00 07 F7", "F0 05 43 12 00 07 F7"),
        ("F0 43 12 00", "F0 03 43 12 00"),
        ("F7 07 F7", "F7 02 07 F7"),
        ("F7 F0 43 12 F7", "F7 04 F0 43 12 F7"),
        ("F7", "F7 00"),
        ("FA", "F7 01 FA"),
        ("F2 00 08", "F7 03 F2 00 08"),
        ("FF", "F7 01 FF"),
    ],
)
def test_how_a_track_stores_a_message(message: str, event: str) -> None:
    """Channel messages are stored as they are, sysex and packets with their length, all else as an escape."""
    assert stored(unhex(message)) == unhex(event)


@given(st.binary(max_size=300))
def test_stored_sysex_sends_itself(inside: bytes) -> None:
    """A sysex message of any length comes back from its stored form."""
    message = b"\xf0" + inside + b"\xf7"
    assert b"\xf0" + content(stored(message)) == message
    assert (stored(message)[0], stored(message)[-1]) == (0xF0, 0xF7)
