"""Presses that act at once, when they are let go, or after a time."""

from __future__ import annotations

import pytest

from rules.steps.trigger_node import TriggerNode
from tests.rules.steps.recording import FakeEngine, Recorder
from tests.rules.steps.test_trigger_node import engine

ON, OFF = (0x90, 2, 100), (0x80, 2, 64)
PATIENT = [0] * 3 + [600] + [0] * 12


class Player:
    """Plays messages to one trigger, and tells where the number switch is."""

    def __init__(self, node: TriggerNode) -> None:
        self.node = node
        self.engine: FakeEngine = engine()

    def play(self, now: int, *message: int) -> object:
        """Let time pass, then play one message; the state of the switch."""
        self.wake(now)
        Recorder(self.engine, now=now).hand(self.node, *message)
        return self.state

    def wake(self, now: int) -> object:
        """Wake the node for all that is due by then; the state of the switch."""
        while self.engine.scheduler.next_due <= now:
            due, _, (node, key) = self.engine.scheduler.pop()
            node.woken(self.engine.memory(node), key, Recorder(self.engine, now=due))
        return self.state

    @property
    def state(self) -> object:
        """What the switch is at."""
        return self.engine.layout.state(self.engine.word, self.node.switch)

    @property
    def waits(self) -> bool:
        """Whether anything is still held, or to be woken."""
        memory = self.engine.memory(self.node)
        return bool(memory.held) or len(self.engine.scheduler) > 0


def test_a_long_press_acts_while_it_is_held() -> None:
    """Once, after its time; let go before, never."""
    player = Player(TriggerNode("key", by=1, long=600))
    assert player.play(0, *ON) == 0
    assert player.play(599, *OFF) == 0
    assert player.play(1000, *ON) == 0
    assert player.wake(1600) == 1
    assert player.play(3000, *OFF) == 1
    assert not player.waits


def test_a_key_struck_again_begins_anew() -> None:
    """The time counts from the last strike."""
    player = Player(TriggerNode("key", by=1, long=600))
    player.play(0, *ON)
    player.play(500, *ON)
    assert player.wake(1099) == 0
    assert player.wake(1100) == 1


def test_a_short_press_acts_at_its_release() -> None:
    """Where a long one may come, on its channel alone."""
    player = Player(TriggerNode("key", by=1, patience=PATIENT))
    assert player.play(0, *ON) == 1
    assert player.play(1, *OFF) == 1
    assert player.play(100, 0x93, 2, 100) == 1
    assert player.play(699, 0x83, 2, 64) == 2
    player.play(1000, 0x93, 2, 100)
    assert player.play(1600, 0x83, 2, 64) == 2
    assert player.play(1700, 0x83, 2, 64) == 2


def test_a_pedal_is_let_go_below_64() -> None:
    """Values above don't end the press, nor begin another."""
    player = Player(TriggerNode("key", by=1, long=600))
    for now, value in ((0, 70), (100, 64), (200, 127)):
        player.play(now, 0xB0, 66, value)
    assert player.wake(600) == 1
    player.play(700, 0xB0, 66, 63)
    player.play(800, 0xB0, 66, 64)
    player.play(900, 0xB0, 66, 10)
    assert player.wake(5000) == 1


def test_a_long_momentary_press_is_on_from_its_time_to_its_release() -> None:
    """A short one leaves it off."""
    player = Player(TriggerNode("up", momentary=True, long=300))
    assert player.play(0, *ON) is False
    assert player.play(299, *OFF) is False
    player.play(1000, *ON)
    assert player.wake(1300) is True
    assert player.play(2000, *OFF) is False


@pytest.mark.parametrize("settings", [{"long": 600}, {"patience": PATIENT}])
def test_what_ends_a_press_under_way(settings: dict[str, object]) -> None:
    """A panic, the end of a performance, its source when it is lost: it acts neither later nor at its release."""
    for end in ("silenced", "close", "forget"):
        player = Player(TriggerNode("key", by=1, **settings))  # type: ignore[arg-type]
        player.play(0, 0x93, 2, 100)
        assert player.waits
        context = Recorder(player.engine, now=10)
        player.node.forget(player.engine.memory(player.node), 1, context)
        assert player.waits, "another player is lost"
        getattr(player.node, end)(player.engine.memory(player.node), *([0] if end == "forget" else []), context)
        assert not player.waits
        assert player.play(100, 0x83, 2, 64) == 0
        assert player.wake(5000) == 0


@pytest.mark.parametrize(
    ("change", "lives_on"),
    [({}, True), ({"long": 500}, False), ({"by": 2}, False), ({"signal": ("D4",)}, False), ({"pass_on": True}, False)],
)
def test_a_press_lives_on_where_its_trigger_does(change: dict[str, object], lives_on: bool) -> None:
    """Whatever else a reload changes."""
    settings: dict[str, object] = {"by": 1, "long": 600, "signal": ("C4",)}
    player = Player(TriggerNode("key", **settings))  # type: ignore[arg-type]
    player.play(0, *ON)
    successor = TriggerNode("key", **(settings | change))  # type: ignore[arg-type]
    player.node.replaced(player.engine.memory(player.node), successor, Recorder(player.engine, now=10))
    assert player.waits is lives_on


def test_a_short_press_lives_on_where_it_waits_as_long() -> None:
    """On its own channel: what happens on others doesn't matter."""
    for patience, lives_on in (([600] * 16, True), ([0] * 16, False), (PATIENT, True)):
        player = Player(TriggerNode("key", by=1, patience=PATIENT))
        player.play(0, 0x93, 2, 100)
        memory, context = player.engine.memory(player.node), Recorder(player.engine, now=10)
        player.node.replaced(memory, TriggerNode("key", by=1, patience=patience), context)
        assert player.waits is lives_on


def test_what_a_message_does_by_itself() -> None:
    """A press that acts later turns nothing yet, and its release turns nothing without it; a momentary switch falls."""
    for node in (TriggerNode("key", by=1, long=600), TriggerNode("key", by=1, patience=PATIENT)):
        assert [node.presses(status) for status in (0x93, 0x83, 0xB3)] == [[], [], []]
    assert [press for *_, press in TriggerNode("key", by=1, patience=PATIENT).presses(0x90)] == [True]
    held = TriggerNode("up", momentary=True, long=600)
    assert [[press for *_, press in held.presses(status)] for status in (0x90, 0x80, 0xB0)] == [[], [False], [False]]
