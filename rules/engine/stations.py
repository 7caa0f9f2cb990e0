"""Nodes that wait: who stands there, what sounds behind each, and how they are woken.

A waiting node is an instrument to what stands before it, and a player to what stands behind it. So it has a number like
a port, below zero, and a ledger like a player.
"""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

from rules.engine.ledger import Ledger, LedgerKey
from rules.program.tables import AnyNode
from rules.timing.delays import Delay

Name = tuple[str | int, ...]


class Wake:
    """What stands in the scheduler for a node that asked to be woken, a delay after `base`."""

    __slots__ = ("base", "delay", "key", "node")

    def __init__(self, node: AnyNode, key: Any, base: int, delay: Delay) -> None:
        self.node = node
        self.key = key
        self.base = base
        self.delay = delay


class Station:
    """One waiting node, through all reloads, and the ledger behind it."""

    __slots__ = ("ledger", "name", "number")

    def __init__(self, name: Name, number: int) -> None:
        self.name = name
        self.number = number
        self.ledger = Ledger()


class Stations:
    """All waiting nodes of one engine, by sort and key: a reload makes new nodes, and finds the stations again."""

    def __init__(self) -> None:
        self._by_name: dict[Name, Station] = {}
        self._by_number: dict[int, Station] = {}
        self._numbers: dict[AnyNode, int] = {}

    def __iter__(self) -> Iterator[Station]:
        return iter(self._by_number.values())

    def __bool__(self) -> bool:
        return bool(self._by_number)

    def number(self, node: AnyNode) -> int:
        """The number by which events go to a node, below zero."""
        number = self._numbers.get(node)
        if number is None:
            name = (type(node).__name__, *node.key)
            station = self._by_name.get(name)
            if station is None:
                station = Station(name, -1 - len(self._by_name))
                self._by_name[name] = self._by_number[station.number] = station
            number = self._numbers[node] = station.number
        return number

    def ledger(self, number: int) -> Ledger:
        """The ledger behind the station with a number."""
        return self._by_number[number].ledger

    def forget_nodes(self) -> None:
        """Forgets which nodes are which, since others come. Those that something still waits for are found by name."""
        self._numbers.clear()

    def held_by(self, player: int) -> list[tuple[Ledger, LedgerKey, int]]:
        """What a player holds behind nodes: ledger, key, and in-key."""
        found: list[tuple[Ledger, LedgerKey, int]] = []
        for station in self._by_number.values():
            ledger = station.ledger
            for key in {**ledger.presses, **ledger.rests}:
                if not isinstance(key, int) and key[0] == player:
                    found.append((ledger, key, key[1]))
        return found
