"""Nodes that wait: their numbers, the ledgers behind them, and how they are woken.

What comes before a waiting node sends to it as to a port; what follows it gets messages from it as from a player. So
it has a number like a port, below zero, and a ledger like a player.
"""

from __future__ import annotations

from typing import Any

from rules.engine.ledger import Ledger, LedgerKey
from rules.program.tables import AnyNode, NodeKey
from rules.timing.delays import Delay


class Wake:
    """The scheduler's entry for a node that asked to be woken, a delay after `base`."""

    __slots__ = ("base", "delay", "key", "node")

    def __init__(self, node: AnyNode, key: Any, base: int, delay: Delay) -> None:
        self.node = node
        self.key = key
        self.base = base
        self.delay = delay


class WaitingNodes:
    """The numbers and ledgers of all waiting nodes of one engine.

    They last through reloads, which make new nodes: a node is recognized by its class and key.
    """

    def __init__(self) -> None:
        self._ledgers: list[Ledger] = []
        self._number_of_name: dict[NodeKey, int] = {}
        self._number_of_node: dict[AnyNode, int] = {}

    def __bool__(self) -> bool:
        return bool(self._ledgers)

    def number(self, node: AnyNode) -> int:
        """Return the number, below zero, by which events go to a node."""
        number = self._number_of_node.get(node)
        if number is None:
            name = (type(node).__name__, *node.key)
            number = self._number_of_name.get(name)
            if number is None:
                self._ledgers.append(Ledger())
                number = self._number_of_name[name] = -len(self._ledgers)
            self._number_of_node[node] = number
        return number

    def ledger(self, number: int) -> Ledger:
        """Return the ledger behind the node with a number."""
        return self._ledgers[-1 - number]

    def forget_nodes(self) -> None:
        """Forget the node objects, since a reload brings others. Their numbers and ledgers stay."""
        self._number_of_node.clear()

    def held_by(self, player: int) -> list[tuple[Ledger, LedgerKey, int]]:
        """Return what a player holds behind nodes: ledger, key, and in-key."""
        return [
            (ledger, key, key[1])
            for ledger in self._ledgers
            for key in {**ledger.presses, **ledger.rests}
            if not isinstance(key, int) and key[0] == player
        ]
