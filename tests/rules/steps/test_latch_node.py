"""Notes that sound on when their keys are let go."""

from __future__ import annotations

from rules.program.guards import ALWAYS
from rules.steps.latch_node import LatchNode
from tests.rules.steps.recording import FakeEngine, Recorder

C, E = 0x12 << 7 | 60, 0x12 << 7 | 64
OPEN = ((1, 1),)


class Keyboard:
    """Players before a `latch`."""

    def __init__(self, node: LatchNode) -> None:
        self.engine = FakeEngine()
        self.node = node

    def press(self, key: int, player: int = 0) -> list[bytes]:
        """What goes on when a key is pressed."""
        return Recorder(self.engine).hand(self.node, 0x92, key & 127, 100, in_key=key, player=player)

    def let_go(self, key: int, player: int = 0) -> list[bytes]:
        """What goes on when it is let go."""
        return Recorder(self.engine).hand(self.node, 0x82, key & 127, 33, in_key=key, player=player)

    def tap(self, key: int, player: int = 0) -> list[bytes]:
        """Both."""
        return [*self.press(key, player), *self.let_go(key, player)]

    def turn(self, word: int) -> list[bytes]:
        """What goes on when switches turn."""
        context = Recorder(self.engine)
        self.node.turned(self.engine.memory(self.node), word, context)
        return context.made

    def replace(self, successor: LatchNode | None) -> list[bytes]:
        """What goes on where other rules come."""
        context = Recorder(self.engine)
        self.node.replaced(self.engine.memory(self.node), successor, context)
        return context.made


def on(key: int) -> bytes:
    """A note-on as it goes on."""
    return bytes((0x92, key & 127, 100))


def off(key: int) -> bytes:
    """A note-off that the step makes."""
    return bytes((0x82, key & 127, 64))


def test_the_next_key_ends_what_sounds_on() -> None:
    """Its own key only lets go."""
    keyboard = Keyboard(LatchNode(True, ALWAYS))
    assert keyboard.tap(C) == [on(C)]
    assert keyboard.tap(E) == [off(C), on(E)]
    assert keyboard.tap(E) == [off(E)]
    assert keyboard.tap(E) == [on(E)]


def test_keys_join_while_another_is_down() -> None:
    """One of them that sounds on ends alone."""
    keyboard = Keyboard(LatchNode(True, ALWAYS))
    keyboard.press(C)
    assert keyboard.tap(E) == [on(E)]
    assert keyboard.tap(E) == [off(E)]
    assert keyboard.let_go(C) == []


def test_each_source_has_notes_of_its_own() -> None:
    """What another plays ends nothing; what a lost one had is forgotten."""
    keyboard = Keyboard(LatchNode(True, ALWAYS))
    keyboard.tap(C)
    assert keyboard.tap(E, player=1) == [on(E)]
    keyboard.node.forget(keyboard.engine.memory(keyboard.node), 0, Recorder(keyboard.engine))
    assert keyboard.tap(C) == [on(C)]


def test_a_switch_lets_go_of_what_no_key_holds() -> None:
    """What a key holds ends with it."""
    keyboard = Keyboard(LatchNode(False, OPEN))
    keyboard.tap(C)
    keyboard.press(E)
    assert keyboard.turn(1) == []
    assert keyboard.turn(0) == [off(C)]
    assert keyboard.let_go(E) == [off(E)]


def test_notes_live_on_only_where_the_step_is_as_it_was() -> None:
    """Else they end when the rules are replaced."""
    keyboard = Keyboard(LatchNode(True, ALWAYS))
    keyboard.tap(C)
    assert keyboard.replace(LatchNode(True, OPEN)) == []
    assert keyboard.replace(LatchNode(False, ALWAYS)) == [off(C)]
    keyboard.tap(E)
    assert keyboard.replace(None) == [off(E)]
