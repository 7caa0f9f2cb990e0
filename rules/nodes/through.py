"""Where one table ends and the next begins, though nothing is remembered between them."""

from __future__ import annotations

from typing import ClassVar

from rules.node import Node
from rules.tables import Evaluation


class ThroughNode(Node):
    """Between a port's steps and its switches: the steps see the switches as they were, the rules as they became."""

    keeps_word: ClassVar[bool] = False

    def take(self, walk: Evaluation, status: int, d1: int, d2: int) -> None:
        """Everything goes on."""
        walk.follow(self.after, status, d1, d2)
