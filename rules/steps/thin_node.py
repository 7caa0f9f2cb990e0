"""The node of `thin`: at most one value each so many milliseconds, and the last one always arrives (ruling 23)."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import ClassVar, Final

from rules.midi.controllers import BANK_LSB, BANK_MSB, DATA_ENTRY, FIRST_MODE, PARAMETER_SELECT, SWITCH_CONTROLLERS
from rules.midi.messages import CONTROLLER, KEY_PRESSURE, split_message
from rules.program.byte_tables import gate_of
from rules.program.event import Event
from rules.program.node import LOW_VALUES, Node, NodeResult, WaitingContext
from rules.timing.delays import Delay

_UNTOUCHED: Final = {
    *(BANK_MSB, BANK_LSB, *DATA_ENTRY, *PARAMETER_SELECT, *SWITCH_CONTROLLERS),
    *range(FIRST_MODE, 128),
}
THINNED: Final = gate_of(number for number in range(128) if number not in _UNTOUCHED)
"""The controllers that may be thinned."""

Stream = tuple[int, int]
"""Status, and controller or key. A pair of 14 bits is one stream."""


@dataclass(slots=True)
class _Flow:
    """One stream: when the last value went on, as what, and what waits.

    What one message becomes at a step passes or waits together: `passing` is that message, `waiting` names those of the
    two lists.
    """

    last: int
    passing: object
    fine_may_follow: bool
    wake: int = 0
    coarse: list[Event] = field(default_factory=list)
    fine: list[Event] = field(default_factory=list)


Memory = dict[Stream, _Flow]


class ThinNode(Node):
    """Knows how long the pause is; remembers each stream."""

    waits: ClassVar[bool] = True
    thins: ClassVar[bool] = True

    def __init__(self, pause: Delay) -> None:
        super().__init__()
        self._pause = pause

    def fresh(self) -> Memory:
        """Nothing went."""
        return {}

    def results(self, status: int) -> list[NodeResult]:
        """Return the value; what it remembers is when the last one went, not a value: half of that lets it pass."""
        return [NodeResult(status, remembered=LOW_VALUES)]

    def take(self, memory: Memory, event: Event, status: int, d1: int, d2: int, context: WaitingContext) -> None:
        """Pass a value on, or keep it in place of the one that is kept."""
        is_fine = status & 0xF0 == CONTROLLER and 32 < d1 < 64
        number = d1 - 32 if is_fine else d1 if status & 0xF0 in (CONTROLLER, KEY_PRESSURE) else 0
        message = self._message(event)
        flow = memory.get((status, number))
        if flow is None:
            memory[status, number] = _Flow(context.now, message, not is_fine)
        elif flow.passing is not message:
            if is_fine and flow.fine_may_follow:
                flow.passing, flow.fine_may_follow = message, False
            elif context.now >= context.later(flow.last, self._pause):
                flow.last, flow.passing, flow.fine_may_follow = context.now, message, not is_fine
            else:
                self._keep(flow, event, (status, number), is_fine, context)
                return
        context.emit(event, status, d1, d2)

    def _message(self, event: Event) -> object:
        """Return what stands for the message at this step: the same for all ways that bring it there alike."""
        return event.family.once((self.memory_key, "at", event.message, event.lasting), object)

    def _keep(self, flow: _Flow, event: Event, stream: Stream, is_fine: bool, context: WaitingContext) -> None:
        """Keep a value in place of the one that waited; a new coarse half has no fine half yet."""
        was_empty = not (flow.coarse or flow.fine)
        first = next(iter(flow.coarse or flow.fine), None)
        kept = flow.fine if is_fine else flow.coarse
        if not kept or self._message(kept[0]) is not self._message(event):
            kept.clear()
            if not is_fine:
                flow.fine.clear()
                flow.fine_may_follow = False
        kept.append(event)
        if was_empty:
            context.put_off()
        if (flow.coarse or flow.fine)[0] is not first:
            if flow.wake:
                context.cancel(flow.wake)
            flow.wake = context.wake(self, stream, flow.last, self._pause)

    def woken(self, memory: Memory, key: Stream, context: WaitingContext) -> None:
        """Emit what was kept: the pause is over."""
        flow = memory[key]
        kept = [*flow.coarse, *flow.fine]
        flow.last, flow.passing, flow.wake = context.now, None, 0
        flow.fine_may_follow = bool(flow.coarse) and not flow.fine
        flow.coarse, flow.fine = [], []
        for event in kept:
            context.emit(event, *split_message(event.message), from_now=True)

    def forget(self, memory: Memory, player: int, context: WaitingContext) -> None:
        """Forget what is kept of a player."""
        for flow in memory.values():
            flow.coarse = [event for event in flow.coarse if event.player != player]
            flow.fine = [event for event in flow.fine if event.player != player]
            if flow.wake and not (flow.coarse or flow.fine):
                context.cancel(flow.wake)
                flow.wake = 0
