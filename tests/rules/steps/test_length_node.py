"""Notes that last a fixed time."""

from __future__ import annotations

from rules.steps.length_node import LengthNode
from rules.timing.delays import NEVER
from tests.rules.steps.recording import FakeEngine, Recorder, ms

ON, OTHER, OFF = (0x92, 60, 100), (0x92, 62, 100), (0x82, 60, 33)
ENDED = b"\x82\x3c\x40"


class Player:
    """A player before a `length` of 100 ms."""

    def __init__(self) -> None:
        self.engine = FakeEngine()
        self.node = LengthNode(ms(100))

    def play(self, now: int, *message: int, player: int = 0) -> list[bytes]:
        """What goes on of a message at once."""
        return Recorder(self.engine, now=now).hand(self.node, *message, player=player)

    def close(self, now: int, successor: LengthNode | None) -> list[bytes]:
        """What goes on where other rules come."""
        out = Recorder(self.engine, now=now)
        self.node.replaced(self.engine.memory(self.node), successor, out)
        return out.made


def test_a_note_ends_when_its_time_is_over() -> None:
    """Whenever its key is let go."""
    player = Player()
    assert player.play(0, *ON) == [bytes(ON)]
    assert player.play(7, *OFF) == []
    assert player.engine.woken() == [(100, [ENDED])]


def test_the_same_note_ends_the_one_before_first() -> None:
    """Others sound on, also the same of another player."""
    player = Player()
    player.play(0, *ON)
    player.play(10, *OTHER)
    player.play(20, *ON, player=1)
    assert player.play(30, *ON) == [ENDED, bytes(ON)]
    assert [due for due, _ in player.engine.woken()] == [110, 120, 130]


def test_notes_end_with_their_source() -> None:
    """Nobody is woken for them any more; the ledger behind the step has ended them."""
    player = Player()
    player.play(0, *ON, player=3)
    player.node.forget(player.engine.memory(player.node), 3, Recorder(player.engine))
    assert player.engine.scheduler.next_due == NEVER
    assert player.play(10, *ON, player=3) == [bytes(ON)]


def test_notes_live_on_only_where_the_step_is_as_it_was() -> None:
    """Else they end when the rules are replaced."""
    player = Player()
    player.play(0, *ON)
    assert player.close(10, LengthNode(ms(100))) == []
    assert player.close(20, LengthNode(ms(90))) == [ENDED]
    player.play(30, *ON)
    assert player.close(40, None) == [ENDED]
    assert player.engine.scheduler.next_due == NEVER
