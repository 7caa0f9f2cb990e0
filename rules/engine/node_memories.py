"""What nodes remember, through all reloads."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from typing import Any

from rules.program.node import WaitingContext
from rules.program.tables import AnyNode, NodeKey


class NodeMemories:
    """The memories of all nodes of one engine: by memory key and class, so that they outlive a reload.

    Nodes of older rules stay known while they remember anything: their memory may be asked for again.
    """

    def __init__(self) -> None:
        self._memories: dict[NodeKey, Any] = {}
        self._nodes: dict[NodeKey, AnyNode] = {}
        self._memory_of: dict[AnyNode, Any] = {}

    def of(self, node: AnyNode) -> Any:
        """Return the memory of a node, an empty one at first; None for a node that remembers nothing."""
        # A node's memory is the same object as long as these rules are in force: found by the node itself, which is
        # quicker than to put its name together.
        if node in self._memory_of:
            return self._memory_of[node]
        name = _name_of(node)
        if name not in self._memories:
            memory = node.fresh()
            if memory is None:
                self._memory_of[node] = None
                return None
            self._memories[name] = memory
            self._nodes[name] = node
        self._memory_of[node] = self._memories[name]
        return self._memories[name]

    def forget(self, player: int, context: WaitingContext) -> None:
        """Let all nodes forget a player."""
        for name, node in self._nodes.items():
            node.forget(self._memories[name], player, context)

    def silenced(self, players: Sequence[int], context: WaitingContext) -> None:
        """Tell all nodes of a panic: those that wait forget the `players`."""
        for name, node in self._nodes.items():
            if node.waits:
                for player in players:
                    node.forget(self._memories[name], player, context)
            else:
                node.silenced(self._memories[name], context)

    def turned(self, word: int, context: WaitingContext) -> None:
        """Tell all nodes that wait what the switches are at now."""
        for name, node in self._waiting_first():
            if node.waits:
                node.turned(self._memories[name], word, context)

    def close(self, context: WaitingContext) -> None:
        """Let all nodes end what they keep going."""
        for name, node in self._waiting_first():
            node.close(self._memories[name], context)

    def replace(self, nodes: Iterable[AnyNode], word: int, context: WaitingContext) -> None:
        """Tell each node its successor among new `nodes`, and those what the switches are at by the new rules.

        Nodes that are gone and remember nothing are forgotten.
        """
        successors = {_name_of(node): node for node in nodes}
        self._memory_of.clear()
        for name, node in self._waiting_first():
            memory, successor = self._memories[name], successors.get(name)
            node.replaced(memory, successor, context)
            if successor is not None:
                self._nodes[name] = successor
            elif not memory:
                del self._memories[name], self._nodes[name]
        self.turned(word, context)

    def _waiting_first(self) -> list[tuple[NodeKey, AnyNode]]:
        """All nodes with a memory, those that wait first: what they end may be the end of a press for the others."""
        return sorted(self._nodes.items(), key=lambda item: not item[1].waits)


def _name_of(node: AnyNode) -> NodeKey:
    """Return the name of a node's memory: other rules may have another class of node under the same key."""
    return (type(node).__name__, *node.memory_key)
