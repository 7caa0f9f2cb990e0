"""How a sounding note is ended."""

from __future__ import annotations

from rules.engine.evaluation import Emission
from rules.engine.ledger import Sounding, sounding_of
from rules.program.byte_tables import table_of
from rules.program.lag import NO_LAG

SOUNDING = Sounding(1, 4, 60)


def test_a_note_ends_in_the_form_in_which_its_end_came() -> None:
    """A note-off by velocity 0 goes out as such, a true note-off keeps its release velocity (ruling 12)."""
    assert SOUNDING.off(b"\x90\x30\x00") == b"\x94\x3c\x00"
    assert SOUNDING.off(b"\x80\x30\x21") == b"\x84\x3c\x21"


def test_a_note_that_nobody_ended_gets_a_note_off_of_ours() -> None:
    """Its release velocity is 64, which MIDI gives to senders without one (M1 p.10)."""
    assert SOUNDING.off() == b"\x84\x3c\x40"


def test_release_velocities_are_shaped_as_when_the_note_began() -> None:
    """The table stays with the note; 0 stays 0."""
    quieter = Sounding(1, 4, 60, release=table_of(lambda velocity: velocity // 2))
    assert quieter.off(b"\x80\x30\x20") == b"\x84\x3c\x10"
    assert quieter.off(b"\x80\x30\x00") == b"\x84\x3c\x00"


def test_what_goes_out_is_noted_as_it_went() -> None:
    """Port, channel and key of the note that was sent, not of the one that came."""
    sounding = sounding_of(Emission(2, b"\x93\x40\x64", NO_LAG, ("echo", 1), True, None), 70)
    assert (sounding.place, sounding.due) == ((2, 0x93, 64), 70)
    assert (sounding.copy, sounding.literal) == (("echo", 1), True)
