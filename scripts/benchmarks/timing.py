"""Timing by turns: whatever disturbs the machine disturbs baseline and ours alike."""

from __future__ import annotations

import gc
from collections.abc import Callable, Sequence
from statistics import median
from time import perf_counter, process_time

Run = Callable[[], object]

WALL = perf_counter


def by_turns(
    rounds: int, *makers: Callable[[], Run], clock: Callable[[], float] = process_time, collects: bool = False
) -> list[list[float]]:
    """The seconds of the processor that each run took in each round; what else the machine does doesn't count.

    Where waiting counts (for the disk, for other processes), `clock` is WALL. A maker prepares a run outside of the
    clock. The garbage collector rests meanwhile: what it costs depends on what else the process holds, and it would
    cost the side more that makes more objects. With `collects` it works as Python has it.
    """
    seconds: list[list[float]] = [[] for _ in makers]
    for _ in range(rounds):
        for maker, times in zip(makers, seconds, strict=True):
            run = maker()
            gc.collect()
            if not collects:
                gc.disable()
            try:
                begin = clock()
                run()
                times.append(clock() - begin)
            finally:
                gc.enable()
    return seconds


def ratios(above: Sequence[float], below: Sequence[float]) -> list[float]:
    """Round by round, how many times `below` goes into `above`."""
    return [one / other for one, other in zip(above, below, strict=True)]


def per_item(seconds: Sequence[float], count: int) -> str:
    """The median time for one of `count` items."""
    return f"{median(seconds) / count * 1e6:.3g} µs"
