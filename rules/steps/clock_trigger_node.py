"""What starts, continues, stops or taps our clock."""

from __future__ import annotations

from collections.abc import Sequence

from rules.program.clock_orders import ClockOrder
from rules.program.node import NodeContext
from rules.steps.press_node import AT_PRESS, PressNode


class ClockTriggerNode(PressNode):
    """Asks our clock for something at each press.

    `signal` is what it listens to, for comparison with the node in its place after a reload.
    """

    def __init__(
        self,
        order: ClockOrder,
        *,
        signal: tuple[object, ...] = (),
        pass_on: bool = False,
        long: int = 0,
        patience: Sequence[int] = AT_PRESS,
    ) -> None:
        super().__init__((signal, order), pass_on=pass_on, long=long, patience=patience)
        self.order = order

    def pressed(self, player: int, context: NodeContext) -> None:
        """Ask for it."""
        context.order_clock(self.order)
