"""`thin`: at most one value each so many milliseconds, and the last one always arrives (ruling 23)."""

from __future__ import annotations

from typing import Final

from rules.midi.controllers import BANK_LSB, BANK_MSB, DATA_ENTRY, FIRST_MODE, PARAMETER_SELECT, SWITCH_CONTROLLERS
from rules.midi.messages import CONTROLLER, POLY_PRESSURE
from rules.program.byte_tables import gate_of
from rules.program.node import Node
from rules.program.tables import Evaluation
from rules.program.thinning import Gate
from rules.timing.delays import Delay

_UNTOUCHED: Final = {
    *(BANK_MSB, BANK_LSB, *DATA_ENTRY, *PARAMETER_SELECT, *SWITCH_CONTROLLERS),
    *range(FIRST_MODE, 128),
}
THINNED: Final = gate_of(number for number in range(128) if number not in _UNTOUCHED)
"""The controllers that may be thinned."""


class ThinNode(Node):
    """Knows how long the pause is. Which values wait is known where they go out, when all else about them is."""

    def __init__(self, pause: Delay) -> None:
        super().__init__()
        self._pause = pause

    def take(self, walk: Evaluation, status: int, d1: int, d2: int) -> None:
        """Everything goes on, through a gate."""
        way = walk.way
        is_fine = status & 0xF0 == CONTROLLER and 32 < d1 < 64
        number = d1 - 32 if is_fine else d1 if status & 0xF0 in (CONTROLLER, POLY_PRESSURE) else 0
        passage = walk.passage((self.place, status, d1, d2, walk.lag.delay))
        walk.way = (*way, Gate((self.place, status, number), self._pause, is_fine, passage))
        walk.follow(self.after, status, d1, d2)
        walk.way = way
