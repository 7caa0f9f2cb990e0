"""Presses of a key or pedal that do something: at once, when it is let go, or when it has been held for a time.

Such a node is in the tables like a step, so that it is found as fast as a rule. When a press acts is ruling 25.
"""

from __future__ import annotations

from abc import abstractmethod
from collections.abc import Callable, Sequence
from fractions import Fraction
from typing import ClassVar, Final

from rules.midi.controllers import SWITCH_ON
from rules.midi.messages import CONTROLLER, NOTE_OFF
from rules.program.byte_tables import ALL
from rules.program.event import Event
from rules.program.node import LOW_VALUES, EvaluationContext, Node, NodeContext, WaitingContext
from rules.timing.delays import Delay

PressKey = tuple[int, int, int]
"""Player, channel 0-15, and the number of the key or controller."""

AT_PRESS: Final[Sequence[int]] = (0,) * 16
"""The patience of a node that waits for no release on any channel."""


class PressMemory:
    """The last `values` of controllers, and what is `held` down and may act later.

    That is the wake of a long press, or the time at which a short one began.
    """

    __slots__ = ("held", "values")

    def __init__(self) -> None:
        self.values: dict[PressKey, int] = {}
        self.held: dict[PressKey, int] = {}

    def __bool__(self) -> bool:
        return bool(self.values or self.held)


class PressNode(Node):
    """Acts on a press: at once, or when it is held for `long` milliseconds.

    `patience` are milliseconds by channel (0-15): where it isn't 0, another node acts on the same key or pedal that is
    held for that long, and this one waits until it is let go earlier. A controller is pressed when it crosses to 64 and
    above, and let go below. `likeness` is all that makes two nodes of different rules the same.
    """

    leads_on: ClassVar[bool] = False
    acts: ClassVar[bool] = True

    def __init__(
        self,
        likeness: tuple[object, ...],
        *,
        pass_on: bool = False,
        long: int = 0,
        patience: Sequence[int] = AT_PRESS,
    ) -> None:
        super().__init__()
        self.long = long
        self.patience = tuple(patience)
        self._pass_on = pass_on
        self._likeness = (*likeness, pass_on, long)

    @abstractmethod
    def pressed(self, player: int, context: NodeContext) -> None:
        """Do what a press does, when it acts."""

    def let_go(self, player: int, context: NodeContext) -> None:
        """Do what the end of a press does, whenever the press acts."""

    @property
    def has_release(self) -> bool:
        """Whether `let_go` does anything."""
        return False

    def presses(self, status: int) -> list[tuple[int, int, bool]]:
        """Return for which second bytes, and values remembered before, a message of a status acts by itself.

        True says that it presses, False that it lets go. Where neither is so, nothing happens at once.
        """
        kind = status & 0xF0
        acts_later = self.long > 0 or self._waits_on(status & 0x0F)
        if kind == CONTROLLER:
            found = [(LOW_VALUES, ALL, False), (ALL & ~LOW_VALUES, LOW_VALUES, True)]
        else:
            found = [(ALL, ALL, kind != NOTE_OFF)]
        return [each for each in found if not (acts_later and (each[2] or not self.has_release))]

    def _waits_on(self, channel: int) -> bool:
        return self.patience[channel] > 0

    def fresh(self) -> PressMemory:
        """Nothing is held, and no value is known."""
        return PressMemory()

    def take(
        self, memory: PressMemory, event: Event, status: int, d1: int, d2: int, context: EvaluationContext
    ) -> None:
        """Take a press, or the end of one."""
        if context.trying or context.known:
            return
        context.consumed = context.consumed or not self._pass_on
        kind = status & 0xF0
        key = (event.player, status & 0x0F, d1)
        if kind == CONTROLLER:
            before = memory.values.get(key, 0)
            memory.values[key] = d2
            if before < SWITCH_ON <= d2:
                self._begin(memory, key, context)
            elif d2 < SWITCH_ON:
                self._end(memory, key, context)
        elif kind == NOTE_OFF:
            self._end(memory, key, context)
        else:
            self._begin(memory, key, context)

    def _begin(self, memory: PressMemory, key: PressKey, context: EvaluationContext) -> None:
        player, channel, _ = key
        if self.long:
            self._forget_where(memory, key.__eq__, context)
            memory.held[key] = context.wake(self, key, context.now, _span(self.long))
        elif self._waits_on(channel):
            memory.held[key] = context.now
        else:
            self.pressed(player, context)

    def _end(self, memory: PressMemory, key: PressKey, context: EvaluationContext) -> None:
        player, channel, _ = key
        held = memory.held.get(key)
        self._forget_where(memory, key.__eq__, context)
        is_short = held is not None and not self.long
        if is_short and context.now < context.later(held or 0, _span(self.patience[channel])):
            self.pressed(player, context)
        self.let_go(player, context)

    def woken(self, memory: PressMemory, key: PressKey, context: WaitingContext) -> None:
        """Act: the press was held for its time."""
        del memory.held[key]
        self.pressed(key[0], context)

    def forget(self, memory: PressMemory, player: int, context: WaitingContext) -> None:
        """Forget the presses and controllers of a lost source."""
        self._forget_where(memory, lambda key: key[0] == player, context)
        for key in [key for key in memory.values if key[0] == player]:
            del memory.values[key]

    def silenced(self, memory: PressMemory, context: WaitingContext) -> None:
        """Let no press act that is held down in a panic."""
        self._forget_where(memory, lambda key: True, context)

    def replaced(self, memory: PressMemory, successor: Node | None, context: WaitingContext) -> None:
        """Let presses act later only if the node is still there as it was."""
        if not isinstance(successor, PressNode) or successor._likeness != self._likeness:
            self.silenced(memory, context)
        else:
            patience = successor.patience
            self._forget_where(memory, lambda key: patience[key[1]] != self.patience[key[1]], context)

    def close(self, memory: PressMemory, context: WaitingContext) -> None:
        """Let no press act after the last message of a performance."""
        self.silenced(memory, context)

    def _forget_where(self, memory: PressMemory, gone: Callable[[PressKey], bool], context: NodeContext) -> None:
        for key in [key for key in memory.held if gone(key)]:
            held = memory.held.pop(key)
            if self.long:
                context.cancel(held)


def _span(ms: int) -> Delay:
    return Delay(Fraction(ms))
