"""Notes made from values."""

from __future__ import annotations

from hypothesis import given
from hypothesis import strategies as st

from rules.steps.crossing_node import CrossingNode
from tests.rules.steps.recording import FakeEngine, Recorder, taken

VALUES = st.lists(st.integers(0, 127), max_size=20)


@given(VALUES)
def test_a_note_is_struck_at_each_crossing(values: list[int]) -> None:
    """Where the value goes from below 64 to 64 and above, and nowhere else."""
    node, engine = CrossingNode(), FakeEngine()
    struck = [bool(taken(node, engine, 0x90, 62, value)) for value in values]
    assert struck == [before < 64 <= value for before, value in zip([0, *values], values, strict=False)]


def test_each_knob_has_its_own_note() -> None:
    """Two controllers that make the same note strike it both; a lost source starts anew."""
    node, engine = CrossingNode(), FakeEngine()
    assert taken(node, engine, 0x90, 62, 100, in_key=1) == [b"\x90\x3e\x64"]
    assert taken(node, engine, 0x90, 62, 100, in_key=2) == [b"\x90\x3e\x64"]
    assert taken(node, engine, 0x90, 62, 100, in_key=1) == []
    node.forget(engine.memory(node), 0, Recorder(engine))
    assert taken(node, engine, 0x90, 62, 100, in_key=1) == [b"\x90\x3e\x64"]


def test_chasing_plays_nothing_but_is_noted() -> None:
    """The knob is up then, and plays when it comes up again; a trial isn't noted."""
    node, engine = CrossingNode(), FakeEngine()
    assert taken(node, engine, 0x90, 62, 100, trying=True) == []
    assert taken(node, engine, 0x90, 62, 100, known=True) == []
    assert taken(node, engine, 0x90, 62, 110) == []
    taken(node, engine, 0x90, 62, 0)
    assert taken(node, engine, 0x90, 62, 110) == [b"\x90\x3e\x6e"]
