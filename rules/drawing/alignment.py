"""Where boxes of a column stand: each as near as possible to where its lines would be straight, none over another."""

from __future__ import annotations

from collections.abc import Sequence


def tops(heights: Sequence[float], wishes: Sequence[float], gap: float, low: float, high: float) -> list[float]:
    """Return the upper edges of boxes that stand in this order between `low` and `high`, at least `gap` apart.

    `wishes` are where their middles would like to be. The sum of the squared distances from there is the least
    possible: boxes that would overlap move as one, at the mean of what they wish (pool adjacent violators). Boxes that
    are too many for the room begin at `low`.
    """
    begins = [sum(heights[:at]) + gap * at for at in range(len(heights))]
    pools: list[tuple[float, int]] = []
    for height, wish, begin in zip(heights, wishes, begins, strict=True):
        mean, members = wish - height / 2 - begin, 1
        while pools and pools[-1][0] > mean:
            other, others = pools.pop()
            mean = (mean * members + other * others) / (members + others)
            members += others
        pools.append((mean, members))
    whole = begins[-1] + heights[-1] if heights else 0
    shifts = [min(max(mean, low), max(high - whole, low)) for mean, members in pools for _ in range(members)]
    return [begin + shift for begin, shift in zip(begins, shifts, strict=True)]
