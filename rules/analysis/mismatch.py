"""Why conditions don't fit a message: what they want, and what came."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from rules.fields.conditions import Condition
from rules.fields.matching import NOTE_STATUSES, split_any
from rules.midi.controllers import FIRST_MODE
from rules.midi.messages import (
    BEND_CENTRE,
    CHANNEL_PRESSURE,
    CONTROLLER,
    KIND_OF_STATUS,
    NOTE_ON,
    PITCH_BEND,
    SYSEX,
    split_message,
)
from rules.midi.notation import Naming, format_controller, format_note
from rules.program.forms import form_of
from rules.steps.wording import all_of, program_of

Difference = tuple[str, str]
"""The name of a setting that doesn't fit, and what came instead, in words."""


def mismatch(message: bytes, conditions: Sequence[Condition], naming: Naming) -> str:
    """Return what the conditions want and what came instead, as in "wants channel 3, this came on 1".

    Of several conditions the one that comes nearest counts. Empty where one of them fits, or there are none.
    """
    if not conditions or split_any(form_of(message), conditions)[0]:
        return ""
    found = [(list(_differences(message, condition, naming)), condition) for condition in conditions]
    nearest, condition = min(found, key=lambda one: len(one[0]))
    wants = all_of(condition, naming, [name for name, _ in nearest])
    words = f"wants {wants}, this {' and '.join(words for _, words in nearest)}"
    return f"{words} (the nearest of {len(conditions)} conditions)" if len(conditions) > 1 else words


def _differences(message: bytes, condition: Condition, naming: Naming) -> Iterator[Difference]:
    status, first, second = split_message(message)
    kind = status & 0xF0 if status < SYSEX else status
    name = "channel-mode" if kind == CONTROLLER and first >= FIRST_MODE else KIND_OF_STATUS.get(kind, "sysex")
    is_other = condition.kinds is not None and not condition.kinds & _names(name)
    if is_other:
        # where no kind is written, what else is asked for says which kinds have it
        asked = ("kind", "controller", "program", "value")
        yield next(one for one in asked if getattr(condition, one) is not None), f"is a {name}"
    channel = (status & 0x0F) + 1 if status < SYSEX else None
    if condition.channel is not None and channel not in condition.channel:
        yield "channel", "has no channel" if channel is None else f"came on {channel}"
    if is_other:
        return
    if kind in NOTE_STATUSES and condition.notes is not None and first not in condition.notes:
        yield "notes", f"is {format_note(first, naming)}"
    if kind == NOTE_ON and condition.velocity is not None and second not in condition.velocity:
        yield "velocity", f"has {second}"
    if condition.controller is not None and first not in condition.controller:
        yield "controller", f"is {format_controller(first)}"
    if condition.program is not None and first not in condition.program:
        yield "program", f"is {program_of(naming)(first)}"
    if condition.value is not None:
        value = (
            first if kind == CHANNEL_PRESSURE else (second << 7 | first) - BEND_CENTRE if kind == PITCH_BEND else second
        )
        if not condition.value[0] <= value <= condition.value[1]:
            yield "value", f"has {value}"


def _names(kind: str) -> frozenset[str]:
    """The kinds of a rule file that take a message of a kind."""
    return frozenset({"note-on": {kind, "note"}, "note-off": {kind, "note-on", "note"}}.get(kind, {kind}))
