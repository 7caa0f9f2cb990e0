"""The base of every node: a step with memory."""

from __future__ import annotations

from abc import ABC, abstractmethod
from typing import Any, ClassVar

from rules.program.tables import Evaluation, Place, Table


class Node(ABC):
    """A step with memory, and the table of what follows it.

    The node itself is part of the pipeline and never changes; its memory belongs to the engine, which keeps it under
    the node's `place`: that of its step in the rule file, so that a reload finds the memory again. Where one step leads
    on in several ways, as before zones, a node stands at the start of each, and all have the same place.
    """

    leads_on: ClassVar[bool] = True
    """Whether anything follows it at all."""

    keeps_word: ClassVar[bool] = True
    """Whether what follows it sees the switches as what led to it did."""

    def __init__(self) -> None:
        self.place: Place = ()
        self.after: Table | None = None

    @property
    def main(self) -> Node:
        """The node whose table follows: itself, but for side entrances."""
        return self

    def fresh(self) -> Any:
        """An empty memory."""
        return None

    @abstractmethod
    def take(self, walk: Evaluation, status: int, d1: int, d2: int) -> None:
        """Takes one message (data bytes 0 where it has none) and follows what comes of it."""

    def may_follow(self, status: int, firsts: int, seconds: int) -> list[tuple[int, int]]:
        """What messages with a status and gates of data bytes can become: status and first bytes of each result."""
        return [(status, firsts)]

    def forget(self, memory: Any, player: int) -> None:  # noqa: B027 - most have nothing to forget
        """Forgets what it knows of a player's messages."""

    def calm(self, memory: Any) -> None:  # noqa: B027 - most have nothing pending
        """Forgets what is pending, after a panic."""
