"""Delays, echoes and thins on the way."""

from __future__ import annotations

from rules.program.thinning import Gate, Wait
from rules.steps.delay_node import DelayNode
from rules.steps.echo_node import EchoNode
from rules.steps.thin_node import ThinNode
from tests.rules.steps.recording import Desk, Recorder, ms


def due(node: DelayNode, desk: Desk, now: int, *, rule: str = "it", status: int = 0x90, joins: bool = True) -> int:
    """When a message that comes now is due behind a delay."""
    walk = Recorder(desk, now=now)
    walk.rule = rule
    node.take(walk, status, 60, 64)
    ((lag, _),) = walk.waits
    if joins:
        lag.join(now, desk.later)
    return lag.due(now, desk.later)


def test_nothing_overtakes_on_one_rule_and_channel() -> None:
    """Past the step, too: what isn't delayed any more waits for what was (ruling 22)."""
    node, desk = DelayNode(ms(50)), Desk()
    assert due(node, desk, 0) == 50
    walk = Recorder(desk, now=10)
    walk.rule = "it"
    node.without_delay.take(walk, 0x90, 60, 64)
    assert walk.waits[0][0].due(10, desk.later) == 50
    assert due(node, desk, 10, status=0x91) == 60


def test_a_panic_leaves_nothing_to_wait_for() -> None:
    """What was pending never comes."""
    node, desk = DelayNode(ms(50)), Desk()
    due(node, desk, 0)
    node.calm(desk.memory(node))
    assert desk.memory(node) == {}


def test_an_echo_stands_in_no_queue() -> None:
    """It waits for nothing, and nothing waits for it."""
    node, desk = DelayNode(ms(50)), Desk()
    walk = Recorder(desk)
    walk.copy = ("echo", 1)
    node.take(walk, 0x90, 60, 64)
    assert (walk.waits[0][0].places, walk.waits[0][0].due(0, desk.later)) == ((), 50)


def test_an_echo_sends_the_note_and_its_copies() -> None:
    """Each later than the one before, and known by its number."""
    node = EchoNode(ms(20), lambda key, velocity: [(1, key + 1, velocity // 2), (2, key + 2, velocity // 4)])
    node.place = ("rule", "it", 1)
    desk = Desk()
    walk = Recorder(desk)
    node.take(walk, 0x90, 60, 64)
    assert walk.made == [b"\x90\x3c\x40", b"\x90\x3d\x20", b"\x90\x3e\x10"]
    assert [lag.due(0, desk.later) for lag, _ in walk.waits] == [0, 20, 40]
    assert (walk.copy, walk.lag.due(0, desk.later)) == ((), 0)


def test_a_thin_puts_a_gate_on_the_way() -> None:
    """The halves of a pair are one stream; what is delayed behind it waits behind it."""
    thin, delay, desk = ThinNode(ms(30)), DelayNode(ms(50)), Desk()
    walk = Recorder(desk)
    thin.take(walk, 0xB0, 7, 64)
    thin.take(walk, 0xB0, 39, 64)
    (coarse,), (fine,) = (way for _, way in walk.waits)
    assert isinstance(coarse, Gate)
    assert isinstance(fine, Gate)
    assert coarse.stream == fine.stream
    assert (coarse.is_fine, fine.is_fine) == (False, True)
    walk.way = (coarse,)
    delay.take(walk, 0xB0, 7, 64)
    assert [type(station) for station in walk.waits[-1][1]] == [Gate, Wait]
    assert walk.way == (coarse,)


def test_all_that_is_made_of_one_value_has_one_passage() -> None:
    """The same value that comes the same way twice, as before two zones, passes together."""
    thin, desk = ThinNode(ms(30)), Desk()
    walk = Recorder(desk)
    thin.take(walk, 0xB0, 7, 64)
    thin.take(walk, 0xB0, 7, 64)
    thin.take(walk, 0xB0, 7, 65)
    one, again, other = (station.passage for _, way in walk.waits for station in way if isinstance(station, Gate))
    assert one is again is not other
