"""What turns a switch: a trigger stands in the tables like a step, so that it is found as fast as a rule."""

from __future__ import annotations

from typing import TYPE_CHECKING, ClassVar

from rules.midi.controllers import SWITCH_ON
from rules.midi.messages import CONTROLLER, NOTE_OFF
from rules.program.byte_tables import ALL
from rules.program.event import Event
from rules.program.node import LOW_VALUES, EvaluationContext, Node, WaitingContext

if TYPE_CHECKING:
    from rules.program.switch_states import State, SwitchField


ControllerKey = tuple[int, int, int]
"""Player, status, controller."""


class TriggerNode(Node):
    """Turns one switch: to on and off (`momentary`), to the other state (`toggle`), to `state`, or on `by` so many.

    A controller turns it when it crosses to 64 and above, and lets it go below (ruling 25).
    """

    leads_on: ClassVar[bool] = False
    acts: ClassVar[bool] = True

    def __init__(
        self,
        switch: str,
        *,
        pass_on: bool = False,
        momentary: bool = False,
        state: State | None = None,
        by: int | None = None,
    ) -> None:
        super().__init__()
        self.switch = switch
        self._pass_on = pass_on
        self._momentary = momentary
        self._toggles = not momentary and state is None and by is None
        self._state = state
        self._by = by

    def presses(self, status: int) -> list[tuple[int, int, bool]]:
        """Return for which second bytes, and values remembered before, messages of a status press or let go.

        Where neither is so, nothing turns.
        """
        kind = status & 0xF0
        if kind != CONTROLLER:
            return [(ALL, ALL, kind != NOTE_OFF)]
        return [(LOW_VALUES, ALL, False), (ALL & ~LOW_VALUES, LOW_VALUES, True)]

    def code_after(self, field: SwitchField, code: int, *, pressed: bool) -> int:
        """Return the code of the switch's state after a press, or after the end of one."""
        if self._momentary:
            return field.states.index(pressed)
        if not pressed:
            return code
        if self._toggles:
            return 1 - code
        if self._by is None:
            return field.states.index(self._state)
        code += self._by
        return code % len(field.states) if field.round else max(0, min(len(field.states) - 1, code))

    def fresh(self) -> dict[ControllerKey, int]:
        """No value is known."""
        return {}

    def take(
        self, memory: dict[ControllerKey, int], event: Event, status: int, d1: int, d2: int, context: EvaluationContext
    ) -> None:
        """Turn the switch at a press; the end of a press matters only to a momentary switch."""
        if context.trying or context.known:
            return
        context.consumed = context.consumed or not self._pass_on
        kind = status & 0xF0
        if kind == NOTE_OFF:
            pressed = False
        elif kind == CONTROLLER:
            name = (event.player, status, d1)
            before = memory.get(name, 0)
            memory[name] = d2
            pressed = before < SWITCH_ON <= d2
            if self._momentary and pressed != (d2 >= SWITCH_ON):
                return
        else:
            pressed = True
        if self._momentary:
            context.turn(self.switch, pressed)
        elif pressed and self._toggles:
            context.toggle(self.switch)
        elif pressed and self._by is not None:
            context.advance_switch(self.switch, self._by)
        elif pressed and self._state is not None:
            context.choose(self.switch, self._state)

    def forget(self, memory: dict[ControllerKey, int], player: int, context: WaitingContext) -> None:
        """Forget the controllers of a lost source."""
        for name in [name for name in memory if name[0] == player]:
            del memory[name]
