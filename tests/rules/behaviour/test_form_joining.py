"""Forms of single first bytes, joined again where they do the same."""

from __future__ import annotations

from rules.behaviour.form_joining import joined
from rules.program.byte_tables import ALL, IDENTITY, SECOND, constant
from rules.program.forms import Form

BENDS = Form(0xE0, target=1)


def test_a_spread_form_is_one_again() -> None:
    """What a condition on bends took apart, byte by byte, and didn't change."""
    assert joined((piece, "") for piece in BENDS.spread()) == [(BENDS, "")]


def test_single_bytes_become_a_table() -> None:
    """Each is made into another one."""
    low, high = (Form(0xB0, one=constant(out), feed_one=SECOND, gate_one=1 << first) for first, out in ((3, 9), (4, 8)))
    ((form, rest),) = joined([(low, "a"), (high, "a")])
    assert (form.gate_one, form.one[3], form.one[4], rest) == (0b11000, 9, 8, "a")


def test_what_differs_in_anything_else_stays_apart() -> None:
    """In the second byte, in what belongs to them, or as two ways of one message."""
    one = Form(0xB0, gate_one=1 << 3)
    others = [(one._replace(gate_two=1), "a"), (one, "b"), (one._replace(one=constant(9), feed_one=SECOND), "a")]
    assert len(joined([(one, "a"), *others])) == 4
    assert joined([(one, "a"), (one, "a")]) == [(one, "a")]


def test_forms_of_many_bytes_are_left_alone() -> None:
    """They come first, as they were."""
    wide = Form(0xB0, one=IDENTITY, gate_one=ALL)
    assert joined([(Form(0xB0, gate_one=1), ""), (wide, "")])[0] == (wide, "")
