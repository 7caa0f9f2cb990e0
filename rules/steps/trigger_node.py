"""What turns a switch."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

from rules.program.node import NodeContext
from rules.steps.press_node import AT_PRESS, PressNode

if TYPE_CHECKING:
    from rules.program.switch_states import State, SwitchField


class TriggerNode(PressNode):
    """Turns one switch: to on and off (`momentary`), to the other state (`toggle`), to `state`, or on `by` so many.

    `signal` is what it listens to, for comparison with the node in its place after a reload.
    """

    def __init__(
        self,
        switch: str,
        *,
        signal: tuple[object, ...] = (),
        pass_on: bool = False,
        momentary: bool = False,
        state: State | None = None,
        by: int | None = None,
        long: int = 0,
        patience: Sequence[int] = AT_PRESS,
    ) -> None:
        super().__init__((signal, switch, momentary, repr(state), by), pass_on=pass_on, long=long, patience=patience)
        self.switch = switch
        self._momentary = momentary
        self._toggles = not momentary and state is None and by is None
        self._state = state
        self._by = by

    @property
    def has_release(self) -> bool:
        """Whether the end of a press turns the switch: a momentary one falls."""
        return self._momentary

    def code_after(self, field: SwitchField, code: int, *, pressed: bool) -> int:
        """Return the code of the switch's state after a press, or after the end of one."""
        if self._momentary:
            return field.states.index(pressed)
        if not pressed:
            return code
        if self._toggles:
            return 1 - code
        return field.states.index(self._state) if self._by is None else field.advanced(code, self._by)

    def pressed(self, player: int, context: NodeContext) -> None:
        """Turn the switch. What its state sends goes out again where it is set to the state that it is in."""
        again = self._state is not None
        context.turn(self.switch, lambda field, code: self.code_after(field, code, pressed=True), player, again=again)

    def let_go(self, player: int, context: NodeContext) -> None:
        """Turn a momentary switch off."""
        if self._momentary:
            context.turn(self.switch, lambda field, code: self.code_after(field, code, pressed=False), player)
