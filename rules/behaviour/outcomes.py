"""What arrives at the end of ways: which bytes they make, of which incoming ones, and what two ways make in a row."""

from __future__ import annotations

from functools import lru_cache

from rules.behaviour.behaviour import Way
from rules.behaviour.regions import met
from rules.program.byte_tables import FIRST, gate_of, image


def keys_made(way: Way) -> int:
    """The outgoing first data bytes of a way, as a gate: keys, controllers or programs."""
    form = way.form
    return image(form.one, form.gate_one if form.feed_one == FIRST else form.gate_two)


def preimage_of_keys(way: Way, keys: int) -> tuple[int, int]:
    """The gates of incoming data bytes of which a way makes first data bytes within a gate."""
    form = way.form.having_one(keys)
    return form.gate_one, form.gate_two


def one_after_the_other(first: Way, second: Way) -> Way | None:
    """The way of messages that go a second way once they have gone the first; None if none do.

    The switches count as they were before; a system message is known by its status alone.
    """
    if second.status != first.form.status:
        return None
    given = met(first.given, second.given)
    form = first.form.having_one(second.form.gate_one).having_two(second.form.gate_two)
    if given is None or not form.exists:
        return None
    one = (form.one, form.feed_one) if second.form.feed_one == FIRST else (form.two, form.feed_two)
    two = (form.one, form.feed_one) if second.form.feed_two == FIRST else (form.two, form.feed_two)
    made = form._replace(
        status=second.form.status,
        one=one[0].translate(second.form.one),
        feed_one=one[1],
        two=two[0].translate(second.form.two),
        feed_two=two[1],
        target=second.form.target,
        rule=second.form.rule,
    )
    return first._replace(form=made, given=given, delay=first.delay + second.delay, written=second.written)


@lru_cache(maxsize=1024)
def unequal(one: bytes, other: bytes) -> int:
    """The data bytes of which two tables make different ones, as a gate."""
    return gate_of(byte for byte in range(128) if one[byte] != other[byte])
