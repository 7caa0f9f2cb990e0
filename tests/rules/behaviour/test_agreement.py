"""For which messages two forms make the same of them."""

from __future__ import annotations

from hypothesis import given
from hypothesis import strategies as st

from rules.behaviour.agreement import same_bytes
from rules.program.byte_tables import ALL, FIRST, SECOND, constant, table_of
from rules.program.forms import Form

NOTE_ON = Form(0x90)


def test_other_statuses_are_never_the_same() -> None:
    """A note on another channel is another one; a system message is the same whatever its data is."""
    assert same_bytes(NOTE_ON, Form(0x91)) == []
    assert same_bytes(Form(0xF8), Form(0xF8)) == [(ALL, ALL)]


def test_a_curve_is_the_same_where_it_leaves_values_alone() -> None:
    """Limited to 20..110: from 20 to 110; of a program change only the first byte counts."""
    limited = table_of(lambda value: max(20, min(110, value)))
    between = sum(1 << value for value in range(20, 111))
    assert same_bytes(NOTE_ON, NOTE_ON._replace(two=limited)) == [(ALL, between)]
    assert same_bytes(Form(0xC0), Form(0xC0, one=limited, two=constant(7))) == [(between, ALL)]


@given(*[st.sampled_from([FIRST, SECOND])] * 2, st.integers(0, 3), st.integers(0, 3))
def test_bytes_of_either_feed_are_compared(feed: int, other_feed: int, by: int, other_by: int) -> None:
    """A first byte made of the first one may be what another form makes of the second one, for some pairs."""
    form = NOTE_ON._replace(one=table_of(lambda value: value % 5 + by), feed_one=feed)
    other = NOTE_ON._replace(one=table_of(lambda value: value % 4 + other_by), feed_one=other_feed)
    found = same_bytes(form, other)
    for first in range(8):
        for second in range(8):
            ones = [made.one[first if made.feed_one == FIRST else second] for made in (form, other)]
            hits = [rectangle for rectangle in found if rectangle[0] >> first & rectangle[1] >> second & 1]
            assert len(hits) == (ones[0] == ones[1])
