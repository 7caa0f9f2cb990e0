"""What fires a `send`."""

from __future__ import annotations

import pytest

from rules.fields.written_messages import DelayedMessage
from rules.midi.notation import parse_message
from rules.steps.send_node import SendNode
from tests.rules.steps.recording import FakeEngine, Recorder, taken

FIRED = b"\xc2\x03"


def node_of(*, pass_on: bool = False, fires_on: frozenset[int] = frozenset()) -> SendNode:
    """A `send` of program 4 on the channel of what came."""
    return SendNode([DelayedMessage(parse_message("program 4"))], pass_on, fires_on)


@pytest.mark.parametrize(
    ("message", "fires"),
    [
        ((0x92, 60, 1), True),
        ((0x82, 60, 64), False),
        ((0xC2, 5), True),
        ((0xB2, 20, 64), True),
        ((0xB2, 20, 63), False),
        ((0xB2, 123, 127), False),
        ((0xE2, 0, 127), False),
        ((0xFA, 0), False),
    ],
)
def test_what_fires(message: tuple[int, ...], fires: bool) -> None:
    """A note-on, a program change, a controller that comes to 64; mode messages don't (ruling 24)."""
    assert taken(node_of(), FakeEngine(), *message) == ([FIRED] if fires else [])


def test_note_offs_and_transport_fire_where_they_are_named() -> None:
    """What has no channel fires on channel 1 (rulings 3, 26)."""
    node = node_of(fires_on=frozenset({0x80, 0xFA}))
    assert taken(node, FakeEngine(), 0x82, 60, 64) == [FIRED]
    assert taken(node, FakeEngine(), 0xFA, 0) == [b"\xc0\x03"]
    assert taken(node, FakeEngine(), 0xFB, 0) == []


def test_a_pedal_fires_once_a_press() -> None:
    """On the crossing only, each controller for itself; a lost source's pedals are up."""
    node, engine = node_of(), FakeEngine()
    fired = [bool(taken(node, engine, 0xB2, 64, value)) for value in (30, 64, 90, 127, 20, 70)]
    assert fired == [False, True, False, False, False, True]
    assert taken(node, engine, 0xB2, 66, 100) == [FIRED]
    node.forget(engine.memory(node), 0, Recorder(engine))
    assert taken(node, engine, 0xB2, 64, 100) == [FIRED]


def test_what_is_kept_goes_first() -> None:
    """Then what it fires."""
    assert taken(node_of(pass_on=True), FakeEngine(), 0x92, 60, 1) == [b"\x92\x3c\x01", FIRED]


def test_a_trial_and_chasing_fire_nothing() -> None:
    """A trial isn't remembered; a value that is chased is."""
    node, engine = node_of(), FakeEngine()
    assert taken(node, engine, 0xB2, 64, 100, trying=True) == []
    assert taken(node, engine, 0xB2, 64, 100, known=True) == []
    assert taken(node, engine, 0xB2, 64, 110) == []
