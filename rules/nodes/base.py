"""What every node is."""

from __future__ import annotations

from abc import ABC, abstractmethod
from collections.abc import Callable
from typing import TYPE_CHECKING, Any, ClassVar

if TYPE_CHECKING:
    from rules.pipeline import Table
    from rules.walk import Origin, Walk


class Node(ABC):
    """A step with memory, and the table of what follows it.

    The node itself is part of the pipeline and never changes; its memory belongs to the engine, which keeps it under
    the node's `key`. The key names its place (rule, zone, step), so that a reload finds the memory again.
    """

    leads_on: ClassVar[bool] = True
    """Whether anything follows it at all."""

    def __init__(self) -> None:
        self.key: tuple[str | int, ...] = ()
        self.after: Table | None = None

    @property
    def main(self) -> Node:
        """The node whose table follows: itself, but for side entrances."""
        return self

    def fresh(self) -> Any:
        """An empty memory."""
        return None

    @abstractmethod
    def take(self, walk: Walk, status: int, d1: int, d2: int) -> None:
        """Takes one message (data bytes 0 where it has none) and follows what comes of it."""

    def may_follow(self, status: int, firsts: int) -> list[tuple[int, int]]:
        """What messages with a status and a gate of first data bytes can become: the same for each result."""
        return [(status, firsts)]

    def forget(self, memory: Any, player: int) -> None:  # noqa: B027 - most have nothing to forget
        """Forgets what it knows of a player's messages."""

    def bring_to_rest(self, memory: Any, player: int, in_key: int) -> bool:
        """Turns what waits of an in-key into its value at rest; whether anything waited."""
        return False

    def drop(self, memory: Any, players: frozenset[int]) -> None:  # noqa: B027 - most have nothing waiting
        """Drops what waits of these players' messages."""

    def reword(self, memory: Any, reword: Callable[[int], int]) -> None:  # noqa: B027 - most keep no switch states
        """Turns the words of switch states that it remembers into those of new rules."""

    def waiting(self, memory: Any, name: Any) -> tuple[Origin, list[tuple[int, int, int]]] | None:
        """What waits in the node under a name: where it came from, and the messages."""
        return None

    def waiting_at_rest(self, memory: Any, players: frozenset[int]) -> list[Any]:
        """The names under which messages of these players wait that bring something to rest."""
        return []

    def wake(self, walk: Walk, name: Any) -> None:
        """Called when a time that the node asked for has come."""
        raise AssertionError("this node asks for no time")
