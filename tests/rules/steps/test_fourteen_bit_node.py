"""Pairs of 14 bits."""

from __future__ import annotations

from collections.abc import Sequence

from rules.steps.fourteen_bit_node import FourteenBitNode, Outputs
from tests.rules.steps.recording import FakeEngine, Recorder, taken


def node_of(outputs: Outputs) -> FourteenBitNode:
    """A node whose values become these messages."""

    def tables(values: Sequence[int]) -> list[tuple[int, bytes, bytes]]:
        ((kind, _, _),) = outputs(0)
        made = [outputs(value)[0] for value in values]
        return [(kind, bytes(first for _, first, _ in made), bytes(second for _, _, second in made))]

    return FourteenBitNode(outputs, tables)


def as_bend(value: int) -> list[tuple[int, int, int]]:
    """The value as a bend."""
    return [(0xE0, value & 0x7F, value >> 7)]


def test_the_coarse_half_acts_at_once_and_the_fine_half_refines() -> None:
    """The fine half counts as 0 until it comes (ruling 21)."""
    node, engine = node_of(as_bend), FakeEngine()
    assert taken(node, engine, 0xB2, 33, 5) == [b"\xe2\x05\x00"]
    assert taken(node, engine, 0xB2, 1, 64) == [b"\xe2\x00\x40"]
    assert taken(node, engine, 0xB2, 33, 7) == [b"\xe2\x07\x40"]
    assert taken(node, engine, 0xB3, 33, 7) == [b"\xe3\x07\x00"]


def test_a_lost_source_has_no_coarse_half() -> None:
    """When it comes back it starts anew; a trial was never there."""
    node, engine = node_of(as_bend), FakeEngine()
    taken(node, engine, 0xB0, 1, 64, trying=True)
    assert taken(node, engine, 0xB0, 33, 7) == [b"\xe0\x07\x00"]
    taken(node, engine, 0xB0, 1, 64)
    node.forget(engine.memory(node), 0, Recorder(engine))
    assert taken(node, engine, 0xB0, 33, 7) == [b"\xe0\x07\x00"]


def test_the_coarse_half_alone_makes_notes() -> None:
    """It strikes where it crosses to 64."""
    node, engine = node_of(lambda value: [(0x90, 60, value >> 7)]), FakeEngine()
    assert taken(node, engine, 0xB0, 1, 64) == [b"\x90\x3c\x40"]
    assert taken(node, engine, 0xB0, 33, 127) == []
    assert taken(node, engine, 0xB0, 1, 70) == []


def test_no_fine_half_makes_a_note() -> None:
    """Not even that of the first pair, whose number comes right after the last coarse one."""
    for coarse in (0, 1, 31):
        node, engine = node_of(lambda value: [(0x90, 60, min(value, 127))]), FakeEngine()
        assert taken(node, engine, 0xB0, coarse + 32, 127) == []
        assert taken(node, engine, 0xB0, coarse, 1) == [b"\x90\x3c\x7f"]


def test_the_fine_half_becomes_what_it_is_with_each_coarse_half() -> None:
    """What the tables say of both halves is what comes out when they come."""
    node, engine = node_of(as_bend), FakeEngine()
    coarse, *fine = node.results(0xB2)
    assert (coarse.status, coarse.one[64], coarse.two[64]) == (0xE2, 0, 64)
    taken(node, engine, 0xB2, 1, 64)
    (after,) = (result for result in fine if result.remembered >> 64 & 1)
    assert [bytes((after.status, after.one[7], after.two[7]))] == taken(node, engine, 0xB2, 33, 7)
