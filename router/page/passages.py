"""The last messages that took a way through the rules, and why: what one sees when one taps a line of the rig."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from typing import Any, Final, NamedTuple

from rules.analysis.history import Arrival, History, history_of, port_naming
from rules.analysis.trace_line import TraceLine
from rules.errors import PointsmanError
from rules.journal.format import unpack
from rules.midi.notation import format_message

_MOST: Final = 10
_MOST_LINES: Final = 30
_LOOKED_AT: Final = 400  # arrivals: to say why takes longer than all the rest
_SECOND_NS: Final = 1_000_000_000


class Asked(NamedTuple):
    """Messages from this port, to this port or device, through this rule; None for any."""

    source: str | None = None
    target: str | None = None
    rule: str | None = None


def passages(journal: bytes, asked: Asked, span_s: float = 120.0) -> list[dict[str, Any]]:
    """Return the last messages of a journal that took the way asked for, the newest first, ten at most.

    Each has "at" (seconds since 1970, None if not known), "arrived", "sent" and "why" in words.
    """
    try:
        story = history_of(list(unpack(journal)), int(span_s * _SECOND_NS))
    except PointsmanError:  # rules that another version of Pointsman plays
        return []
    found: list[dict[str, Any]] = []
    arrivals = [one for one in story.happened if isinstance(one, Arrival)]
    for arrival in reversed(arrivals[-_LOOKED_AT:]):
        if asked.source in (None, arrival.source):
            lines = _way(arrival, asked, story)
            if lines is not None:
                found.append(_told(arrival, lines, story))
        if len(found) == _MOST:
            break
    return found


def _way(arrival: Arrival, asked: Asked, story: History) -> Sequence[TraceLine] | None:
    """Return why a message went as it did, the part that was asked for; None if it took another way."""
    lines = arrival.why(port_naming(story, arrival.source))
    if arrival.lets_go:
        went = {port for port, _ in arrival.outcomes}
        return lines if asked.rule is None and asked.target in (None, *went) else None
    if asked.rule is None and asked.target is None:
        return lines
    taken = [part for part in _parts(lines) if _fits(part, asked)]
    return [line for part in taken for line in part] if taken else None


def _parts(lines: Sequence[TraceLine]) -> Iterator[list[TraceLine]]:
    """Yield the lines of each rule by themselves."""
    part: list[TraceLine] = []
    for line in lines:
        if line.depth == 0 and part:
            yield part
            part = []
        part.append(line)
    if part:
        yield part


def _fits(part: Sequence[TraceLine], asked: Asked) -> bool:
    if asked.rule is not None and part[0].rule != asked.rule:
        return False
    reached = {line.target for line in part} | {port for line in part for port, _ in line.outcomes}
    return asked.target is None or asked.target in reached


def _told(arrival: Arrival, lines: Sequence[TraceLine], story: History) -> dict[str, Any]:
    many = f" (the last of {arrival.count:,})" if arrival.count > 1 else ""
    words = format_message(arrival.message, port_naming(story, arrival.source))
    at = story.wall_s(arrival.time)
    return {
        "at": None if at is None else round(at, 3),
        "arrived": f"from {arrival.source}: {words}{many}",
        "sent": [
            f"to {port}: {format_message(message, port_naming(story, port))}" for port, message in arrival.outcomes
        ],
        "why": [f"{'  ' * line.depth}{line.text}" for line in lines[:_MOST_LINES]],
    }
