"""Notes made from a value: on where it crosses to 64. Where it falls below, the ledger ends them."""

from __future__ import annotations

from typing import ClassVar

from rules.midi.controllers import SWITCH_ON
from rules.program.byte_tables import ALL
from rules.program.event import Event
from rules.program.node import LOW_VALUES, EvaluationContext, Node, NodeResult, WaitingContext
from rules.program.tables import NodeKey

ValueKey = tuple[int, int, int, int]
"""Player, in-key, status, key."""


def rises(
    context: EvaluationContext, event: Event, node: NodeKey, up: set[ValueKey], status: int, key: int, value: int
) -> bool:
    """Return whether a node makes a note of a value, as it rises to 64 or more; `up` holds those that have risen."""
    context.heard.append(value >= SWITCH_ON)

    def crosses() -> bool:
        name = (event.player, event.in_key, status, key)
        crossing = value >= SWITCH_ON and name not in up
        (up.add if value >= SWITCH_ON else up.discard)(name)
        return crossing

    return not context.trying and context.once((node, status, key, value, event.lasting), crosses) and not context.known


def forget_player(up: set[ValueKey], player: int) -> None:
    """Forget the values of a lost source."""
    up -= {name for name in up if name[0] == player}


class CrossingNode(Node):
    """Takes note-ons whose velocity is the value, 0 included; remembers which are up, by player and in-key."""

    acts: ClassVar[bool] = True

    def fresh(self) -> set[ValueKey]:
        """No value is up."""
        return set()

    def results(self, status: int) -> list[NodeResult]:
        """Return a note where the value is 64 or more, and was less."""
        return [NodeResult(status, gate_two=ALL & ~LOW_VALUES, remembered=LOW_VALUES)]

    def take(
        self, memory: set[ValueKey], event: Event, status: int, d1: int, d2: int, context: EvaluationContext
    ) -> None:
        """Emit a note for each time the value rises to 64 or more."""
        if rises(context, event, self.memory_key, memory, status, d1, d2):
            context.emit(event, status, d1, d2)

    def forget(self, memory: set[ValueKey], player: int, context: WaitingContext) -> None:
        """Forget the values of a lost source."""
        forget_player(memory, player)
