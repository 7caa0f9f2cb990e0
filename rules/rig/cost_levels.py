"""Costs of several ranks in one number: nothing of a lower rank ever outweighs one unit of a higher one.

A flow or matching minimises a single sum. The ranks become digits of one whole number, in a base that the sum of no
digit can reach; whole numbers have no largest one, so nothing is rounded.
"""

from __future__ import annotations

from collections.abc import Sequence


class CostLevels:
    """Weighs ranks of costs, the most important first; `most` is the largest sum that any rank can reach."""

    def __init__(self, ranks: Sequence[str], most: int) -> None:
        self._weights = {rank: (most + 1) ** power for power, rank in enumerate(reversed(ranks))}

    def cost(self, **units: int) -> int:
        """Return the cost of so many units of each rank named. Raises KeyError for a rank that there isn't."""
        return sum(self._weights[rank] * amount for rank, amount in units.items())
