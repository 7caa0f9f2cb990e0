"""Delays and echoes on the way."""

from __future__ import annotations

from rules.steps.delay_node import DelayNode
from rules.steps.echo_node import EchoNode
from rules.timing.delays import AT_ONCE
from tests.rules.steps.recording import FakeEngine, Recorder, ms


def test_a_delay_keeps_the_order_also_where_it_is_passed_by() -> None:
    """Past the step, too: what isn't delayed any more waits for what was (ruling 22)."""
    node, recorder = DelayNode(ms(50)), Recorder(FakeEngine())
    recorder.hand(node, 0x90, 60, 64)
    recorder.hand(node.without_delay, 0x90, 60, 64)
    assert recorder.made == [b"\x90\x3c\x40"] * 2
    assert (recorder.delays, recorder.orders) == ([ms(50), AT_ONCE], [True, True])


def test_an_echo_sends_the_note_and_its_copies() -> None:
    """Each later than the one before, and known by its number."""
    node = EchoNode(ms(20), 2, lambda key, velocity: [(1, key + 1, velocity // 2), (2, key + 2, velocity // 4)])
    node.memory_key = ("rule", "it", 1)
    recorder = Recorder(FakeEngine())
    recorder.hand(node, 0x90, 60, 64)
    assert recorder.made == [b"\x90\x3c\x40", b"\x90\x3d\x20", b"\x90\x3e\x10"]
    assert recorder.delays == [AT_ONCE, ms(20), ms(40)]
    assert recorder.copies == [(), ("rule", "it", 1, 1), ("rule", "it", 1, 2)]
    assert not any(recorder.orders)
