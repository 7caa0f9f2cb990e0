"""What a message costs with 1,000 rules of which it fits one, against one rule alone."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from itertools import product
from statistics import median

from benchmarks.figures import Curve, Figure
from benchmarks.messages import Fed, feed_all
from benchmarks.rulefiles import PORTS, compiled
from benchmarks.timing import Run, by_turns, per_item, ratios
from rules.engine.engine import Engine
from rules.program.pipeline import Pipeline
from rules.timing.delays import steady_nanoseconds

RULES = 1_000
PLACES = list(product(range(1, 9), range(1, 126)))
"""A thousand pairs of a channel and a key or controller."""

ALL_NOTES = '{ kind = "note" }'


def measure(quick: bool) -> list[Figure]:
    """Both ways to have a thousand rules."""
    rounds = 7 if quick else 15
    times = 20 if quick else 100
    controllers = [f"{{ channel = {channel}, controller = {number} }}" for channel, number in PLACES[1:]]
    keys = [f"{{ channel = {channel}, notes = {key} }}" for channel, key in PLACES]
    notes = _notes(times)
    curve = _curve(controllers, notes, 3 if quick else 5)
    return [
        _compare("of which one fits", [ALL_NOTES, *controllers], notes, rounds, curve),
        _compare("each for one key of one channel", keys, notes, rounds),
    ]


def _curve(matches: Sequence[str], notes: Sequence[Fed], rounds: int) -> Curve:
    """What a message costs with one rule, ten, a hundred and a thousand."""
    counts = [10**power for power in range(4)]
    every = by_turns(rounds, *(_maker(_pipeline([ALL_NOTES, *matches[: count - 1]]), notes) for count in counts))
    costs = [(float(count), median(seconds) / len(notes) * 1e9) for count, seconds in zip(counts, every, strict=True)]
    title = "What a message costs in the engine, by the number of rules"
    return Curve("cost-by-rules", title, "rules", "nanoseconds a message", {"a note": costs}, log_x=True)


def _maker(pipeline: Pipeline, notes: Sequence[Fed]) -> Callable[[], Run]:
    return lambda: _feeding(pipeline, notes)


def _notes(times: int) -> list[Fed]:
    """Every key of eight channels pressed and let go."""
    found = []
    for channel, key in PLACES:
        found += [(0, bytes((0x90 | channel - 1, key, 100)), 0), (0, bytes((0x80 | channel - 1, key, 64)), 0)]
    return found * times


def _compare(
    what: str, matches: Sequence[str], notes: Sequence[Fed], rounds: int, curve: Curve | None = None
) -> Figure:
    one, many = _pipeline([ALL_NOTES]), _pipeline(matches)
    base, ours = by_turns(rounds, lambda: _feeding(one, notes), lambda: _feeding(many, notes))
    return Figure(
        f"a message with {len(matches):,} rules {what}",
        ratios(ours, base),
        "times",
        None,
        1.5,
        f"one rule {per_item(base, len(notes))}",
        per_item(ours, len(notes)),
        curve,
    )


def _pipeline(matches: Sequence[str]) -> Pipeline:
    rules = "".join(f'[[rules]]\nfrom = "seq"\nmatch = {match}\nto = "rack"\n' for match in matches)
    return compiled(PORTS + rules)[1]


def _feeding(pipeline: Pipeline, messages: Sequence[Fed]) -> Run:
    engine = Engine(pipeline, steady_nanoseconds(120))
    engine.add_player("seq")
    return lambda: feed_all(engine, messages)
