"""What is held away from rest, and what brings it back (ruling 13)."""

from __future__ import annotations

import pytest

from rules.midi.neutral import ends_held, is_at_rest, rest_message, rest_place

HOLDING = [bytes((0xB3, number, 99)) for number in (1, 64, 66, 67)] + [b"\xe3\x00\x10", b"\xd3\x40", b"\xa3\x3c\x40"]


@pytest.mark.parametrize("message", HOLDING, ids=lambda message: message.hex(" "))
def test_what_is_held_has_a_place_and_a_rest(message: bytes) -> None:
    """Pedals, modulation, bend and pressure are held; the message that ends that is at rest, at the same place."""
    place = rest_place(2, message)
    assert place is not None
    assert not is_at_rest(message, fully=True)
    assert is_at_rest(rest_message(place), fully=True)
    assert rest_place(2, rest_message(place)) == place


@pytest.mark.parametrize("message", [b"\x90\x3c\x40", b"\x80\x3c\x40", b"\xb3\x07\x40", b"\xc3\x05", b"\xf0\x7d\xf7"])
def test_other_messages_are_not_held(message: bytes) -> None:
    """Notes have a ledger of their own; volume and programs stay as they are set."""
    assert rest_place(0, message) is None


def test_a_half_pedal_below_64_is_let_go_but_not_at_rest() -> None:
    """Below 64 a pedal no longer holds notes; for instruments with half pedals only 0 is rest."""
    half = b"\xb0\x40\x20"
    assert is_at_rest(half, fully=False)
    assert not is_at_rest(half, fully=True)
    assert not is_at_rest(b"\xb0\x01\x20", fully=False)


def test_a_bend_rests_in_the_middle() -> None:
    """8192 is the middle of a bend; both bytes count."""
    assert is_at_rest(b"\xe0\x00\x40", fully=False)
    assert not is_at_rest(b"\xe0\x01\x40", fully=False)


@pytest.mark.parametrize(
    ("message", "ends"),
    [
        (b"\x80\x3c\x40", True),
        (b"\x90\x3c\x00", True),
        (b"\x90\x3c\x40", False),
        (b"\xb0\x40\x00", True),
        (b"\xb0\x40\x20", False),
        (b"\xe0\x00\x40", True),
        (b"\xb0\x07\x00", False),
        (b"\xc0\x05", False),
        (b"\xf0\x7d\xf7", False),
    ],
)
def test_note_offs_and_values_at_rest_end_what_is_held(message: bytes, ends: bool) -> None:
    """In either form of the note-off; a half pedal still holds, and volume 0 ends nothing."""
    assert ends_held(message) is ends
