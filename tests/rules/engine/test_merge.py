"""Outputs that holders share, by themselves."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from rules.engine.merge import Merge
from rules.program.event import Event, Family, holder_of
from rules.program.tables import in_key_of, note_place

PLACE = note_place(0, 0, 60)
KEYS, PADS = (holder_of(source, in_key_of(0x90, 60), ()) for source in (0, 1))
OFF, OTHER_OFF = b"\x80\x3c\x21", b"\x80\x3c\x40"


def event(source: int, message: bytes) -> Event:
    """A message to the first port from a source, as it came in."""
    return Event(source, source, in_key_of(message[0], message[1]), message, 0, Family(0), 0)


def passed(merge: Merge, source: int, *message: int) -> list[bytes]:
    """What goes out of a message from a source."""
    return [data for _, data, _ in merge.pass_on(event(source, bytes(message)))]


def test_a_note_off_waits_for_the_last_holder() -> None:
    """Then as many go out as note-ons went, the one that waited first (ruling 11)."""
    merge = Merge(frozenset())
    merge.press(PLACE, KEYS)
    merge.press(PLACE, PADS)
    assert merge.let_go(PLACE, KEYS, OFF, 0) == []
    assert merge.let_go(PLACE, PADS, OTHER_OFF, 1) == [(0, OFF, 0), (0, OTHER_OFF, 1)]


def test_a_note_off_that_ends_nothing_passes_unless_another_sounds_the_note() -> None:
    """Who holds nothing ends nothing of others (ruling 12)."""
    merge = Merge(frozenset())
    assert merge.let_go(PLACE, KEYS, OFF, 0) == [(0, OFF, 0)]
    merge.press(PLACE, PADS)
    assert merge.let_go(PLACE, KEYS, OFF, 0) == []


@given(st.lists(st.sampled_from([KEYS, PADS]), min_size=1, max_size=8))
def test_as_many_note_offs_go_out_as_note_ons_went(strikes: list[int]) -> None:
    """Whoever struck how often, and in whatever order; but one holder's alone is one note-off, as it came."""
    merge = Merge(frozenset())
    for holder in strikes:
        merge.press(PLACE, holder)
    holders = dict.fromkeys(strikes)
    gone = [going for holder in holders for going in merge.let_go(PLACE, holder, OFF, 0, strikes.count(holder))]
    assert len(gone) == (len(strikes) if len(holders) > 1 else 1)
    assert not merge.others_sound((0, 0), (9, 9))


def test_note_offs_that_went_before_are_not_wanting() -> None:
    """Another track of the same hand has had its note-off pass, and so has one that ended no known note."""
    merge = Merge(frozenset())
    merge.press(PLACE, KEYS)
    merge.press(PLACE, KEYS)
    assert merge.let_go(PLACE, KEYS, OFF, 0) == [(0, OFF, 0)]
    assert merge.let_go(PLACE, KEYS, OFF, 0, 0) == [(0, OFF, 0)]
    merge.press(PLACE, PADS)
    assert merge.let_go(PLACE, KEYS, OFF, 2) == []
    assert merge.waiting[2] == [OFF]
    assert merge.let_go(PLACE, PADS, OTHER_OFF, 1) == [(0, OTHER_OFF, 1)]
    assert merge.waiting[2] == []


def test_a_note_that_ended_by_other_means_holds_back_no_others() -> None:
    """What waited for it alone goes out."""
    merge = Merge(frozenset())
    merge.press(PLACE, KEYS)
    merge.press(PLACE, PADS)
    merge.let_go(PLACE, KEYS, OFF, 0)
    assert merge.forget_note(PLACE, PADS) == [(0, OFF, 0)]


def test_only_other_holders_of_the_channel_sound() -> None:
    """What a hand sounds itself, or others on other channels, is in nobody's way (ruling 15)."""
    merge = Merge(frozenset())
    merge.press(PLACE, KEYS)
    assert not merge.others_sound((0, 0), (0, 0))
    assert not merge.others_sound((0, 1), (1, 0))
    assert merge.others_sound((0, 0), (1, 0))


@pytest.mark.parametrize("pedal", [64, 66, 67, 68, 69])
def test_the_highest_pedal_wins(pedal: int) -> None:
    """One foot's lower value changes nothing until the other lets go (ruling 14)."""
    merge = Merge(frozenset())
    assert passed(merge, 0, 0xB0, pedal, 100) == [bytes((0xB0, pedal, 100))]
    assert passed(merge, 1, 0xB0, pedal, 70) == []
    assert passed(merge, 0, 0xB0, pedal, 0) == [bytes((0xB0, pedal, 70))]
    assert passed(merge, 1, 0xB0, pedal, 0) == [bytes((0xB0, pedal, 0))]


def test_after_a_reset_pedals_and_bends_of_others_go_again() -> None:
    """They go behind the reset, as they stand; one's own are gone (ruling 15)."""
    merge = Merge(frozenset())
    passed(merge, 0, 0xB0, 64, 127)
    passed(merge, 0, 0xE0, 0, 80)
    passed(merge, 1, 0xB0, 66, 127)
    assert passed(merge, 1, 0xB0, 121, 0) == [b"\xb0\x79\x00", b"\xb0\x40\x7f", b"\xe0\x00\x50"]
    assert passed(merge, 0, 0xB0, 121, 0) == [b"\xb0\x79\x00"]


def test_data_goes_behind_the_own_selection() -> None:
    """It is sent again where another has selected since, and only there (ruling 16)."""
    merge = Merge(frozenset())
    passed(merge, 0, 0xB0, 101, 0)
    passed(merge, 0, 0xB0, 100, 2)
    assert passed(merge, 0, 0xB0, 6, 64) == [b"\xb0\x06\x40"]
    passed(merge, 1, 0xB0, 101, 0)
    passed(merge, 1, 0xB0, 100, 1)
    assert passed(merge, 0, 0xB0, 6, 65) == [b"\xb0\x65\x00", b"\xb0\x64\x02", b"\xb0\x06\x41"]


def test_data_without_a_selection_is_dropped_while_anothers_is_live() -> None:
    """It would change what the other means (ruling 16)."""
    merge = Merge(frozenset())
    assert passed(merge, 1, 0xB0, 6, 1) == [b"\xb0\x06\x01"]
    passed(merge, 0, 0xB0, 101, 0)
    passed(merge, 0, 0xB0, 100, 0)
    assert passed(merge, 1, 0xB0, 6, 1) == []
    passed(merge, 0, 0xB0, 101, 127)
    passed(merge, 0, 0xB0, 100, 127)
    assert passed(merge, 1, 0xB0, 6, 1) == [b"\xb0\x06\x01"]


def test_banks_wait_for_their_program_where_sources_meet() -> None:
    """The coarse half goes first; where nobody else chooses, nothing waits (ruling 16)."""
    merge = Merge(frozenset({(0, 0)}))
    assert passed(merge, 1, 0xC0, 9) == [b"\xc0\x09"]
    assert passed(merge, 0, 0xB0, 32, 5) == []
    assert passed(merge, 0, 0xB0, 0, 1) == []
    assert passed(merge, 1, 0xC0, 9) == [b"\xc0\x09"]
    assert passed(merge, 0, 0xC0, 7) == [b"\xb0\x00\x01", b"\xb0\x20\x05", b"\xc0\x07"]
    assert passed(merge, 0, 0xB1, 0, 1) == [b"\xb1\x00\x01"]


def test_banks_pass_until_another_source_chooses() -> None:
    """What another's program change overtook goes again, once, and a half that came since in its place (ruling 16)."""
    merge = Merge(frozenset({(0, 0)}))
    assert passed(merge, 0, 0xB0, 0, 1) == [b"\xb0\x00\x01"]
    assert passed(merge, 0, 0xC0, 7) == [b"\xc0\x07"]
    assert passed(merge, 0, 0xB0, 0, 2) == [b"\xb0\x00\x02"]
    assert passed(merge, 0, 0xB0, 32, 3) == [b"\xb0\x20\x03"]
    assert passed(merge, 1, 0xB0, 0, 9) == []
    assert passed(merge, 1, 0xC0, 9) == [b"\xb0\x00\x09", b"\xc0\x09"]
    assert passed(merge, 0, 0xB0, 32, 4) == []
    assert passed(merge, 0, 0xC0, 8) == [b"\xb0\x00\x02", b"\xb0\x20\x04", b"\xc0\x08"]
    assert passed(merge, 0, 0xC0, 8) == [b"\xc0\x08"]


def test_banks_that_an_instrument_may_have_lost_go_again() -> None:
    """A port returned before the program change; but what was chosen since has come there."""
    merge = Merge(frozenset({(0, 0)}))
    passed(merge, 0, 0xB0, 0, 1)
    passed(merge, 0, 0xB0, 32, 2)
    merge.return_port(0)
    assert passed(merge, 0, 0xB0, 32, 3) == [b"\xb0\x20\x03"]
    assert passed(merge, 0, 0xC0, 7) == [b"\xb0\x00\x01", b"\xc0\x07"]


def test_banks_still_wait_after_a_panic_but_not_at_a_port_that_was_gone() -> None:
    """Who chooses sounds where is known until the port goes."""
    merge = Merge(frozenset({(0, 0)}))
    passed(merge, 1, 0xC0, 9)
    merge.clear()
    assert passed(merge, 0, 0xB0, 0, 2) == []
    merge.drop_ports([0])
    assert passed(merge, 0, 0xB0, 0, 2) == [b"\xb0\x00\x02"]


def test_banks_that_still_wait_go_out_at_the_end_or_where_they_need_not_wait_any_more() -> None:
    """A bank select without a program change is late, not lost."""
    merge = Merge(frozenset({(0, 0), (0, 1)}))
    passed(merge, 1, 0xC0, 9)
    passed(merge, 1, 0xC1, 9)
    passed(merge, 0, 0xB0, 0, 1)
    passed(merge, 0, 0xB1, 0, 2)
    assert merge.change_banks(frozenset({(0, 1)})) == [(0, b"\xb0\x00\x01", 0)]
    assert merge.settle() == [(0, b"\xb1\x00\x02", 0)]
    assert merge.settle() == []


def test_a_port_that_goes_gives_out_what_it_held_back() -> None:
    """Its note-offs that waited are told, and nothing is held there any more; other ports keep theirs."""
    merge = Merge(frozenset())
    there = note_place(1, 0, 60)
    for place in (PLACE, there):
        merge.press(place, KEYS)
        merge.press(place, PADS)
        merge.let_go(place, KEYS, OFF, 0)
    assert merge.drop_ports([0]) == [(0, OFF, 0)]
    assert not merge.others_sound((0, 0), (0, 0))
    assert merge.others_sound((1, 0), (0, 0))


def test_after_a_panic_nothing_is_held() -> None:
    """Nobody is in anybody's way any more (ruling 17)."""
    merge = Merge(frozenset())
    merge.press(PLACE, KEYS)
    passed(merge, 0, 0xB0, 64, 127)
    merge.clear()
    assert not merge.others_sound((0, 0), (1, 0))
    assert passed(merge, 1, 0xB0, 64, 1) == [b"\xb0\x40\x01"]


def test_after_all_notes_off_nothing_is_waited_for() -> None:
    """What waited on the channel is told, and later note-offs pass; other channels are as they were."""
    merge = Merge(frozenset())
    elsewhere = note_place(0, 1, 60)
    for place in (PLACE, elsewhere):
        merge.press(place, KEYS)
        merge.press(place, PADS)
        merge.let_go(place, KEYS, OFF, 0)
    assert merge.forget_channel((0, 0)) == [(0, OFF, 0)]
    assert merge.let_go(PLACE, PADS, OTHER_OFF, 1) == [(0, OTHER_OFF, 1)]
    assert merge.let_go(elsewhere, PADS, OTHER_OFF, 1) == [(0, OFF, 0), (0, OTHER_OFF, 1)]
