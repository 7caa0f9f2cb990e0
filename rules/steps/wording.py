"""How steps and conditions are told in a trace: notes, programs and controllers as the rule file writes them."""

from __future__ import annotations

from collections.abc import Callable, Collection, Mapping, Sequence
from typing import Final

from rules.fields.conditions import Condition
from rules.midi.messages import BEND_CENTRE
from rules.midi.notation import Naming, format_controller, format_note

_MOST_PAIRS: Final = 8

Write = Callable[[int], str]


def span(low: int, high: int, lowest: int, highest: int, write: Write = str) -> str:
    """A range as it is written: `C4..B4`, a single number alone, open where it reaches an end."""
    if low == high:
        return write(low)
    return f"{write(low) if low > lowest else ''}..{write(high) if high < highest else ''}"


def ranges(numbers: Collection[int], lowest: int, highest: int, write: Write = str) -> str:
    """Numbers as ranges: `1..4, 10`."""
    runs: list[list[int]] = []
    for number in sorted(numbers):
        if runs and number == runs[-1][1] + 1:
            runs[-1][1] = number
        else:
            runs.append([number, number])
    return ", ".join(span(low, high, lowest, highest, write) for low, high in runs)


def channels(numbers: Collection[int]) -> str:
    """Channels 1-16 with the word before them; they are never open, since `..4` says little of channels."""
    return f"channel{'s' if len(numbers) > 1 else ''} {ranges(numbers, 0, 17)}"


def program_of(naming: Naming) -> Write:
    """Return how programs, which count from 0 on the wire, are written."""
    return lambda number: str(number + naming.first_program)


def note_of(naming: Naming) -> Write:
    """Return how keys are written."""
    return lambda key: format_note(key, naming)


def pairs(table: Mapping[int, int], write: Write) -> str:
    """A table old = new: `C4 to D4, E4 to F4`; of a long one the beginning."""
    told = [f"{write(old)} to {write(new)}" for old, new in list(table.items())[:_MOST_PAIRS]]
    more = len(table) - len(told)
    return ", ".join(told) + (f" and {more} more" if more else "")


def any_of(conditions: Sequence[Condition], naming: Naming) -> str:
    """Conditions of which any may hold; `and` binds tighter than `or`, as in a `when`."""
    return " or ".join(all_of(condition, naming) for condition in conditions)


def all_of(condition: Condition, naming: Naming, only: Collection[str] | None = None) -> str:
    """A condition, or only some of its settings."""
    parts = {}
    if condition.kind is not None:
        parts["kind"] = f"kind {', '.join(sorted(condition.kind))}"
    if condition.channel is not None:
        parts["channel"] = channels(condition.channel)
    if condition.notes is not None:
        parts["notes"] = f"notes {ranges(condition.notes, 0, 127, note_of(naming))}"
    if condition.velocity is not None:
        parts["velocity"] = f"velocity {ranges(condition.velocity, 1, 127)}"
    if condition.controller is not None:
        parts["controller"] = f"controller {ranges(condition.controller, 0, 127, format_controller)}"
    if condition.value is not None:
        is_bend = condition.kinds == frozenset({"pitch-bend"})
        ends = (-BEND_CENTRE, BEND_CENTRE - 1) if is_bend else (0, 127)
        parts["value"] = f"value {span(*condition.value, *ends)}"
    if condition.program is not None:
        parts["program"] = f"program {ranges(condition.program, 0, 127, program_of(naming))}"
    return " and ".join(words for name, words in parts.items() if only is None or name in only)
