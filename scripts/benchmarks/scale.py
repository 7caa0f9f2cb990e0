"""What an event costs in memory in files of all sizes: it must not depend on how many there are."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from statistics import median

from benchmarks import with_mido
from benchmarks.figures import Curve, Figure
from benchmarks.memory import long_file
from benchmarks.rulefiles import EDIT, IN_PLACE, compiled
from benchmarks.timing import Run, by_turns
from rules.smf.report import Playing
from rules.smf.rewriting import Rewriter

SIZES = (1_000, 10_000, 100_000, 1_000_000, 10_000_000)
AT_LEAST = 200_000
"""A run takes so many events, so that small files are measured many times over."""

MIDO_AT_MOST = 100_000
"""Larger ones would take the mido script minutes; what it costs an event is the same."""

Edit = Callable[[bytes], object]


def measure(quick: bool) -> list[Figure]:
    """A figure for each route: the dearest size against the cheapest."""
    sizes = SIZES[:3] if quick else SIZES
    edits = {
        "patch": _ours(IN_PLACE, "patch"),
        "stream": _ours(EDIT, "stream"),
        "general": _ours(EDIT, "general"),
        "mido script": with_mido.edited,
    }
    costs: dict[str, dict[int, list[float]]] = {name: {} for name in edits}
    for size in sizes:
        data = long_file(size)
        taking_part = [name for name in edits if name != "mido script" or size <= MIDO_AT_MOST]
        repeats = max(1, AT_LEAST // size)
        rounds = 3 if quick or size > 1_000_000 else 5
        seconds = by_turns(rounds, *(_repeating(edits[name], data, repeats) for name in taking_part))
        for name, times in zip(taking_part, seconds, strict=True):
            costs[name][size] = [one / repeats / size for one in times]
    curve = _curve(costs)
    routes = [name for name in edits if name != "mido script"]
    return [_flatness(route, costs[route], curve if route == routes[0] else None) for route in routes]


def _ours(rules: str, route: str) -> Edit:
    ruleset, pipeline = compiled(rules)
    rewriter = Rewriter(ruleset, pipeline, Playing("seq"), route=route)
    taken = rewriter.rewrite(long_file(100)).report.route
    if taken != route:
        raise SystemExit(f"the {taken} route was taken in place of {route}: not what shall be measured")
    return rewriter.rewrite


def _repeating(edit: Edit, data: bytes, repeats: int) -> Callable[[], Run]:
    def run() -> None:
        for _ in range(repeats):
            edit(data)

    return lambda: run


def _flatness(route: str, costs: dict[int, list[float]], curve: Curve | None) -> Figure:
    """The median costs, the dearest over the cheapest; the spread takes the best and the worst round of each size."""
    sizes = list(costs)
    rounds = min(map(len, costs.values()))
    by_round = [[sorted(costs[size])[at] for size in sizes] for at in range(rounds)]
    told = ", ".join(f"{median(costs[size]) * 1e9:,.0f}" for size in sizes)
    return Figure(
        f"cost an event, files of {sizes[0]:,} to {sizes[-1]:,} events, {route} route",
        [max(each) / min(each) for each in by_round],
        "times",
        None,
        1.3,
        ours=f"{told} ns, by size",
        curve=curve,
    )


def _curve(costs: dict[str, dict[int, list[float]]]) -> Curve:
    lines: dict[str, Sequence[tuple[float, float]]] = {
        name: [(size, median(times) * 1e9) for size, times in by_size.items()] for name, by_size in costs.items()
    }
    return Curve(
        "cost-by-size",
        "What an event costs, by the size of the file",
        "events in the file",
        "nanoseconds an event",
        lines,
        log_x=True,
        log_y=True,
    )
