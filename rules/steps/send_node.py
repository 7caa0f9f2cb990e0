"""`send`: fires messages of its own (rulings 3, 24, 26)."""

from __future__ import annotations

from collections.abc import Sequence
from typing import ClassVar, Final

from rules.fields.written_messages import DelayedMessage
from rules.midi.controllers import FIRST_MODE, SWITCH_ON
from rules.midi.messages import CONTROLLER, NOTE_ON, PROGRAM, SYSEX, split_message
from rules.program.byte_tables import ALL, gate_of
from rules.program.event import Event
from rules.program.node import LOW_VALUES, EvaluationContext, Node, NodeResult, WaitingContext

_CONTROLLERS: Final = gate_of(range(FIRST_MODE))

ControllerKey = tuple[int, int, int]
"""Player, status, controller."""


class SendNode(Node):
    """Remembers the last value of each controller, to know when it crosses to 64."""

    acts: ClassVar[bool] = True

    def __init__(self, messages: Sequence[DelayedMessage], pass_on: bool, fires_on: frozenset[int]) -> None:
        super().__init__()
        self._messages = messages
        self._pass_on = pass_on
        self._fires_on = fires_on

    def fresh(self) -> dict[ControllerKey, int]:
        """No value is known."""
        return {}

    def results(self, status: int) -> list[NodeResult]:
        """Return what passes, then the messages: at once, or where a controller rises."""
        found = [NodeResult(status)] if self._pass_on else []
        kind = status & 0xF0 if status < SYSEX else status
        rises = kind == CONTROLLER
        if not rises and kind not in (NOTE_ON, PROGRAM) and kind not in self._fires_on:
            return found
        channel = (status & 0x0F) + 1 if status < SYSEX else 1
        for each in self._messages:
            written = each.message.on(channel)
            result = NodeResult(written[0], after=each.after, written=written)
            if rises:
                result = result._replace(gate_one=_CONTROLLERS, gate_two=ALL & ~LOW_VALUES, remembered=LOW_VALUES)
            found.append(result)
        return found

    def may_follow(self, status: int, firsts: int, seconds: int) -> list[tuple[int, int, int]]:
        """Return what passes, and the messages where something can fire."""
        kept = [(status, firsts, seconds)] if self._pass_on else []
        kind = status & 0xF0 if status < SYSEX else status
        fires = kind in (NOTE_ON, PROGRAM) or kind in self._fires_on
        fires = fires or (kind == CONTROLLER and seconds >> SWITCH_ON > 0)
        channel = (status & 0x0F) + 1 if status < SYSEX else 1
        written = [each.message.on(channel) for each in self._messages] if fires else []
        return kept + [_gates(*split_message(data)) for data in written]

    def take(
        self, memory: dict[ControllerKey, int], event: Event, status: int, d1: int, d2: int, context: EvaluationContext
    ) -> None:
        """Pass what came if `pass_on` says so, then send the messages if it fires."""
        if status & 0xF0 == CONTROLLER and d1 < FIRST_MODE:
            context.heard.append(d2 >= SWITCH_ON)
        if self._pass_on:
            context.emit(event, status, d1, d2)
        if not context.trying and self._fires(memory, event, status, d1, d2, context) and not context.known:
            channel = (status & 0x0F) + 1 if status < SYSEX else 1
            for each in self._messages:
                context.send(event, each.message.on(channel), each.after)

    def _fires(
        self, memory: dict[ControllerKey, int], event: Event, status: int, d1: int, d2: int, context: EvaluationContext
    ) -> bool:
        kind = status & 0xF0 if status < SYSEX else status
        if kind != CONTROLLER:
            return kind in (NOTE_ON, PROGRAM) or kind in self._fires_on
        if d1 >= FIRST_MODE:
            return False

        def crosses() -> bool:
            name = (event.player, status, d1)
            before = memory.get(name, 0)
            memory[name] = d2
            return before < SWITCH_ON <= d2

        # the same value that comes later, as of a list with pauses, is another one
        return bool(context.once((self.memory_key, status, d1, d2, event.lasting), crosses))

    def forget(self, memory: dict[ControllerKey, int], player: int, context: WaitingContext) -> None:
        """Forget the controllers of a lost source."""
        for name in [name for name in memory if name[0] == player]:
            del memory[name]


def _gates(status: int, first: int, second: int) -> tuple[int, int, int]:
    """Return the status of a message, and gates for its data bytes alone."""
    return (status, 1 << first, 1 << second) if status < SYSEX else (status, 1, 1)
