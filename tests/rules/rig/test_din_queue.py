"""What waits for a DIN wire, and for how long."""

from __future__ import annotations

from collections.abc import Sequence

from hypothesis import given
from hypothesis import strategies as st

from rules.ports.pacing import is_urgent
from rules.rig.din_queue import Queued, waits
from tests.support.din_wire import waits_by_bytes

NOTE, PROGRAM, CLOCK = bytes.fromhex("903C64"), bytes.fromhex("C005"), bytes.fromhex("F8")
SYSEX = bytes.fromhex("F07D0102030405F7")
BYTE = 320_000


def waited(messages: Sequence[tuple[int, bytes]]) -> list[int]:
    """How long each message waits, in the order in which they come."""
    queued = [Queued(at, len(message), is_urgent(message)) for at, message in messages]
    found = dict(waits(queued))
    return [found[number] for number in range(len(messages))]


def test_a_chord_goes_out_note_after_note() -> None:
    """Three notes at once take three bytes each: the third waits for six."""
    assert waited([(0, NOTE), (0, NOTE), (0, NOTE)]) == [0, 3 * BYTE, 6 * BYTE]


def test_a_wire_that_was_silent_carries_a_message_at_once() -> None:
    """It waits only where the one before it is still going out."""
    assert waited([(5, NOTE), (5 + 3 * BYTE, NOTE), (5 + 6 * BYTE - 1, PROGRAM)]) == [0, 0, 1]


def test_a_clock_goes_before_what_waits_but_not_into_a_message() -> None:
    """The note that is on the wire goes out whole; the clock is next, and the second note comes after it."""
    assert waited([(0, NOTE), (0, NOTE), (BYTE, CLOCK)]) == [0, 4 * BYTE, 2 * BYTE]


MESSAGES = st.lists(
    st.tuples(
        st.one_of(st.integers(0, 12_000_000), st.integers(0, 30).map(lambda bytes_long: bytes_long * BYTE)),
        st.sampled_from([NOTE, PROGRAM, CLOCK, SYSEX]),
    ),
    max_size=40,
).map(lambda found: sorted(found, key=lambda each: each[0]))


@given(MESSAGES)
def test_each_wait_is_that_of_a_wire_byte_by_byte(messages: list[tuple[int, bytes]]) -> None:
    """Whatever comes, and however close together."""
    assert waited(messages) == waits_by_bytes(messages)
