"""What messages can become on their way, whatever came before: statuses and first data bytes, through nodes too."""

from __future__ import annotations

from collections.abc import Iterable
from functools import lru_cache

from rules.compiler.chain import Link
from rules.midi.messages import SYSEX
from rules.program.byte_tables import ALL, FIRST, NO_BYTE, gate_of, image, open_in
from rules.program.forms import Form
from rules.program.guards import ALWAYS, Guard
from rules.program.tables import Lane

Reached = tuple[int, int, int, Guard]
"""A status, the gates of its first and second data bytes, and how the switches can stand for it."""


def firsts_out(lane: Lane, firsts: int, seconds: int = ALL) -> int:
    """Return the outgoing first bytes of a lane for gates of incoming bytes."""
    if lane.feed_one == FIRST:
        return image(lane.one, firsts)
    return image(lane.one, _passing(lane.gate, seconds))


def seconds_out(lane: Lane, firsts: int, seconds: int = ALL) -> int:
    """Return the outgoing second bytes of a lane for gates of incoming bytes; none where it takes no such message."""
    passing = _passing(lane.gate, seconds)
    if lane.feed_two == FIRST:
        return image(lane.two, firsts) if passing else 0
    return image(lane.two, passing)


@lru_cache(maxsize=4096)
def _passing(table: bytes, seconds: int) -> int:
    """Return which second bytes of a gate a lane takes; `table` has NO_BYTE for the others."""
    return gate_of(second for second in open_in(seconds) if table[second] != NO_BYTE)


def behind_node(lane: Lane, firsts: int, seconds: int, guard: Guard) -> list[Reached]:
    """Return what the node of a lane can make of outgoing bytes (gates); nothing where none follows it."""
    if lane.node is None or not lane.node.main.leads_on:
        return []
    node = lane.node.main
    stand = guard if node.keeps_word else ALWAYS
    return [(*made, stand) for made in node.may_follow(lane.status, firsts, seconds)]


def through(link: Link, forms: Iterable[Form]) -> list[Form]:
    """The forms behind a link, each once; a node may say that more can come of a message than it does."""
    found: dict[Form, None] = {}
    for form in forms:
        for made in link.fold(form):
            pieces = [made] if made.node is None else _behind(made)
            found.update(dict.fromkeys(pieces))
    return list(found)


def _behind(form: Form) -> list[Form]:
    """Return what the node of a form makes of it, as forms that start there."""
    lane = form.lane()
    firsts = firsts_out(lane, form.gate_one)
    reached = behind_node(lane, firsts, seconds_out(lane, form.gate_one), form.guard)
    return [Form(status, gate_one=gate if status < SYSEX else ALL, guard=guard) for status, gate, _, guard in reached]
