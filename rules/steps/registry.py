"""The steps of a rule: one file each, listed here in the order the documentation tells of them.

Adding a step means a new file, its key in `STEP_KEYS`, its lines in `step_named`, and its tests; the memory of a step
that remembers is a node, in `<name>_node.py` beside it.
"""

from __future__ import annotations

from functools import cache
from typing import Final

from rules.steps.base import Step

STEP_KEYS: Final = (
    "rechannel",
    "filter",
    "transpose",
    "snap",
    "chord",
    "velocity",
    "map",
    "delay",
    "echo",
    "length",
    "latch",
    "thin",
    "send",
)
"""The main key of every step there is; the set is closed."""


@cache
def step_named(key: str) -> type[Step]:
    """Return the step with a main key. It is loaded when a file has it first: a start waits for each."""
    kind: type[Step]
    match key:
        case "rechannel":
            from rules.steps.rechannel import RechannelStep as kind
        case "filter":
            from rules.steps.filter import FilterStep as kind
        case "transpose":
            from rules.steps.transpose import TransposeStep as kind
        case "snap":
            from rules.steps.snap import SnapStep as kind
        case "chord":
            from rules.steps.chord import ChordStep as kind
        case "velocity":
            from rules.steps.velocity import VelocityStep as kind
        case "map":
            from rules.steps.map import MapStep as kind
        case "delay":
            from rules.steps.delay import DelayStep as kind
        case "echo":
            from rules.steps.echo import EchoStep as kind
        case "length":
            from rules.steps.length import LengthStep as kind
        case "latch":
            from rules.steps.latch import LatchStep as kind
        case "thin":
            from rules.steps.thin import ThinStep as kind
        case "send":
            from rules.steps.send import SendStep as kind
        case _:
            raise AssertionError(f"there is no step {key}")
    return kind


def all_steps() -> tuple[type[Step], ...]:
    """Return every step, in order."""
    return tuple(map(step_named, STEP_KEYS))
