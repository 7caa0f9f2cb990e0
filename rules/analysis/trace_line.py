"""A line of the story that a trace tells."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class TraceLine:
    """One line of the story. `depth` indents it; `outcomes` are what arrives there: (port, message); `late` says that a
    delay holds it up, `is_arrival` that a rule or the clock brought it to its port, `is_refusal` that a rule or zone
    doesn't take the message. `rule` is the rule that takes it there, `target` the device or port that it goes to."""

    depth: int
    text: str
    outcomes: tuple[tuple[str, bytes], ...] = ()
    late: bool = False
    is_arrival: bool = False
    is_refusal: bool = False
    rule: str = ""
    target: str = ""
