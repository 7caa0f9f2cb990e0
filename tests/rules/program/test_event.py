"""A message under way."""

from __future__ import annotations

from fractions import Fraction

from hypothesis import given
from hypothesis import strategies as st

from rules.program.byte_tables import table_of
from rules.program.event import NO_CHANNEL, Event, Family, channel_holder_of, holder_of
from rules.program.tables import in_key_of
from rules.timing.delays import AT_ONCE, Delay, steady_nanoseconds

THIRD = Delay(beats=Fraction(1, 3))


def note(target: int = 1) -> Event:
    """Middle C on channel 5 at a port."""
    return Event(0, 0, 0, b"\x94\x3c\x64", 0, Family(0), target)


def test_a_note_ends_in_the_form_in_which_its_end_came() -> None:
    """A note-off by velocity 0 goes out as such, a true note-off keeps its release velocity (ruling 12)."""
    assert note().off(b"\x90\x30\x00") == b"\x94\x3c\x00"
    assert note().off(b"\x80\x30\x21") == b"\x84\x3c\x21"


def test_a_note_that_nobody_ended_gets_a_note_off_of_ours() -> None:
    """Its release velocity is 64, which MIDI gives to senders without one (M1 p.10)."""
    assert note().off() == b"\x84\x3c\x40"


def test_release_velocities_are_shaped_as_when_the_note_began() -> None:
    """The table stays with the note; 0 stays 0."""
    quieter = note()
    quieter.release = table_of(lambda velocity: velocity // 2)
    assert quieter.off(b"\x80\x30\x20") == b"\x84\x3c\x10"
    assert quieter.off(b"\x80\x30\x00") == b"\x84\x3c\x00"


def test_a_note_sounds_where_it_was_sent() -> None:
    """Port, channel and key of the note that was sent, not of the one that came."""
    sounding = note(2)
    assert (sounding.place, sounding.key, sounding.channel) == ((2, 0x94, 60), 60, 4)
    assert Event(0, 0, 0, b"\xf8", 0, Family(0)).channel == NO_CHANNEL


def test_delays_add_up_before_they_are_rounded() -> None:
    """Three thirds of a beat are one beat, to the nanosecond, also where a node stands between (ruling 29)."""
    event = note()
    assert event.lasting is AT_ONCE
    event.before, event.delay = THIRD, THIRD + THIRD
    assert steady_nanoseconds(120)(0, event.lasting) == 500_000_000


def test_what_goes_the_same_way_anew_has_the_delays_from_its_table_on() -> None:
    """What it waited for, and what came before its table, is the other's own."""
    event = note()
    event.before, event.delay, event.wait, event.rule, event.copy = THIRD, THIRD, 7, "it", ("echo", 1)
    event.is_out = True
    other = event.derived_now(b"\x84\x3c\x40", 40)
    assert (other.base, other.lasting, other.wait, other.is_out) == (40, THIRD, 0, False)
    assert (other.rule, other.copy, other.target) == ("it", ("echo", 1), 1)
    assert event.derived(event.message).lasting == THIRD + THIRD


def test_an_answer_that_is_remembered_is_given_once() -> None:
    """Several ways of one message ask the same; the next message asks anew."""
    answers = iter([True, False])
    family = Family(0)
    assert [family.once(("pedal",), lambda: next(answers)) for _ in range(2)] == [True, True]
    assert Family(0).once(("pedal",), lambda: next(answers)) is False


@given(st.integers(0, 40), st.integers(0, 15), st.integers(0, 127), st.sampled_from([(), (1,), ("rule", 2, 1)]))
def test_a_holder_tells_whose_hand_it_is(source: int, channel: int, key: int, copy: tuple[str | int, ...]) -> None:
    """Note and echo copy alike tell the source and the channel on which they came in."""
    assert channel_holder_of(holder_of(source, in_key_of(0x90 | channel, key), copy)) == (source, channel)
