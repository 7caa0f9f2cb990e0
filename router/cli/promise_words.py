"""What `check` says of promises: which are proved, and of each other one the message that shows it, and its way."""

from __future__ import annotations

import sys
from collections.abc import Iterator, Sequence
from typing import TYPE_CHECKING, Any, Final

from router.text.formatting import count, number, problem_data
from router.text.paragraphs import wrapped
from router.text.terminal import painted

if TYPE_CHECKING:
    from rules.comparison.promises import PromiseResult
    from rules.rulefile.ruleset import RuleSet

_MOST_SHOWN: Final = 10


def promise_lines(results: Sequence[PromiseResult], ruleset: RuleSet) -> list[str]:
    """Return the lines about promises; none where there are no promises."""
    if not results:
        return []
    broken = [result for result in results if result.verdict == "refuted"]
    open_ones = [result for result in results if result.verdict == "not decidable"]
    of_all = count(len(results), "promise")
    if not broken and not open_ones:
        return [
            painted("The promise is proved." if len(results) == 1 else f"All {of_all} are proved.", "good", sys.stdout)
        ]
    lines = []
    for some, are in ((broken, "broken"), (open_ones, "not decidable, because the result depends on messages before")):
        if some:
            head = f"{number(len(some))} of {of_all} {'is' if len(some) == 1 else 'are'} {are}:"
            lines += wrapped(head)
            lines += [line for result in some[:_MOST_SHOWN] for line in _story(result, ruleset)]
        if len(some) > _MOST_SHOWN:
            lines.append(f"  ... and {number(len(some) - _MOST_SHOWN)} more")
    return lines


def _story(result: PromiseResult, ruleset: RuleSet) -> Iterator[str]:
    """Yield the promise, the message that shows what it is worth, and the way of that message."""
    from rules.analysis.trace import trace

    example = result.example
    assert example is not None
    mood = "bad" if result.verdict == "refuted" else "mild"
    for line in wrapped(f"{result.place}: {result.place.words}: {result.says}. Its way:", "  ", "    "):
        yield painted(line, mood, sys.stdout)
    way = trace(ruleset, example.source, example.message, example.switches, result.place.source.naming)
    for told in way:
        indent = "    " + "  " * told.depth
        yield from wrapped(told.text, indent, f"{indent}  ")


def promise_data(result: PromiseResult) -> dict[str, Any]:
    """Return a result for programs."""
    from router.text.message_data import message_data

    data: dict[str, Any] = {
        "name": result.promise.name,
        "file": result.place.file,
        "line": result.place.line,
        "verdict": result.verdict,
    }
    if result.example is not None:
        data["problem"] = problem_data(result.problem)
        data["example"] = {
            "from": result.example.source,
            **message_data(result.example.message, result.place.source.naming),
            "switches": dict(result.example.switches),
        }
    return data
