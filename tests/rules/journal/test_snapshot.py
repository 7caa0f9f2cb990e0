"""What a journal without its beginning has to know."""

from hypothesis import given
from hypothesis import strategies as st

from rules.journal.format import IN, LOST, NAMES, OUT, RULES, Record
from rules.journal.snapshot import Snapshot, is_played

ON, OFF, QUIET = bytes((0x92, 60, 100)), bytes((0x82, 60, 64)), bytes((0x92, 60, 0))
DOWN, UP = bytes((0xB0, 64, 127)), bytes((0xB0, 64, 0))


def after(*records: Record) -> Snapshot:
    """What is left of these records."""
    snapshot = Snapshot()
    for record in records:
        snapshot.give_up(record)
    return snapshot


def test_the_last_of_each_lasting_kind_stays_rules_first() -> None:
    """Whoever replays needs the rules before the names."""
    snapshot = after((NAMES, 1, 0, b"a"), (RULES, 2, 0, b"b"), (OUT, 3, 0, ON), (RULES, 4, 0, b"c"))
    assert snapshot.lasting == [(RULES, 4, 0, b"c"), (NAMES, 1, 0, b"a")]


def test_what_is_pressed_stays_until_it_is_let_go() -> None:
    """Notes and pedals, each by input; a note-on of velocity 0 lets go as well."""
    assert after((IN, 1, 0, ON), (IN, 2, 0, DOWN)).held == [(IN, 1, 0, ON), (IN, 2, 0, DOWN)]
    assert after((IN, 1, 0, ON), (IN, 2, 0, DOWN), (IN, 3, 0, OFF), (IN, 4, 0, UP)).held == []
    assert after((IN, 1, 0, ON), (IN, 2, 0, QUIET)).held == []
    assert after((IN, 1, 0, ON), (IN, 2, 1, OFF)).held == [(IN, 1, 0, ON)]


def test_a_lost_input_holds_nothing() -> None:
    """Its notes ended when it went."""
    assert after((IN, 1, 0, ON), (IN, 1, 1, ON), (LOST, 2, 0, b"")).held == [(IN, 1, 1, ON)]


MESSAGES = st.tuples(st.sampled_from([0x80, 0x90, 0xB0, 0xE0]), st.integers(60, 69), st.integers(0, 127)).map(bytes)


@given(st.lists(st.tuples(st.integers(0, 2), MESSAGES)))
def test_what_is_kept_is_bounded(played: list[tuple[int, bytes]]) -> None:
    """However long the evening: at most every key and pedal of every input."""
    held = after(*((IN, time, player, message) for time, (player, message) in enumerate(played))).held
    assert len(held) <= 3 * 2 * 10
    assert [record[1] for record in held] == sorted(record[1] for record in held)


def test_clock_and_our_own_messages_are_not_playing() -> None:
    """A silence with a clock running is a silence."""
    assert is_played((IN, 0, 0, ON))
    assert is_played((IN, 0, 0, b"\xf0\x01\xf7"))
    assert not is_played((IN, 0, 0, b"\xf8"))
    assert not is_played((OUT, 0, 0, ON))
