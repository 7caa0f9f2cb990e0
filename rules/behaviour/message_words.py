"""Regions of messages in words: notes C2..B3, controller volume with value 64.., everything."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Final

from rules.behaviour.regions import Dimension, Region
from rules.fields.when import written_state
from rules.midi.controllers import FIRST_MODE
from rules.midi.messages import (
    BEND_CENTRE,
    CHANNEL_PRESSURE,
    CONTROLLER,
    KEY_PRESSURE,
    KIND_OF_STATUS,
    NOTE_OFF,
    NOTE_ON,
    PITCH_BEND,
    PROGRAM,
    SYSEX,
)
from rules.midi.notation import Naming, format_controller
from rules.program.byte_tables import ALL, open_in
from rules.program.switch_states import State
from rules.steps.wording import note_of, program_of, ranges, span

CHANNEL_KINDS: Final = (NOTE_ON, NOTE_OFF, KEY_PRESSURE, CONTROLLER, PROGRAM, CHANNEL_PRESSURE, PITCH_BEND)
"""The kinds of channel messages, in the order in which people name them."""

KIND_WORDS: Final[Mapping[int, str]] = {
    NOTE_ON: "notes",
    NOTE_OFF: "note-offs",
    KEY_PRESSURE: "key pressure",
    CONTROLLER: "controllers",
    PROGRAM: "programs",
    CHANNEL_PRESSURE: "channel pressure",
    PITCH_BEND: "pitch bends",
}
"""What all messages of a kind are called."""

_MOST_NAMES: Final = 6
_CONTROLLERS: Final = (1 << FIRST_MODE) - 1


def kind_of(status: int) -> int:
    """Return a status without its channel."""
    return status & 0xF0 if status < SYSEX else status


def messages_in(kind: int, region: Region, naming: Naming) -> str:
    """Return the messages of a kind that a region has, in words; nothing is said of channels and switches."""
    firsts, seconds = region.firsts, region.seconds
    if kind >= SYSEX:
        return KIND_OF_STATUS.get(kind, f"{kind:02X}")
    if kind == PITCH_BEND:
        return _bends(firsts, seconds)
    if kind == CHANNEL_PRESSURE:
        return KIND_WORDS[kind] + ("" if firsts == ALL else f" {numbers_in(firsts)}")
    if kind == PROGRAM:
        return _numbered("program", firsts, KIND_WORDS[kind], ranges(open_in(firsts), 0, 127, program_of(naming)))
    if kind == CONTROLLER:
        words = _controllers(firsts)
    elif kind == KEY_PRESSURE:
        words = KIND_WORDS[kind] + ("" if firsts == ALL else f" of {keys_in(firsts, naming)}")
    else:
        one = "note" if kind == NOTE_ON else "note-off"
        words = _numbered(one, firsts, KIND_WORDS[kind], keys_in(firsts, naming))
    whole = ALL & ~1 if kind == NOTE_ON else ALL
    if seconds == whole or kind == NOTE_OFF:
        return words
    lowest = 1 if kind == NOTE_ON else 0
    what = "velocity" if kind == NOTE_ON else "value"
    return f"{words} with {what} {numbers_in(seconds, lowest)}"


def keys_in(gate: int, naming: Naming) -> str:
    """Return the keys of a gate as ranges of notes."""
    return ranges(open_in(gate), 0, 127, note_of(naming))


def numbers_in(gate: int, lowest: int = 0) -> str:
    """Return the numbers of a gate as ranges: `64..`, `1..4, 10`."""
    return ranges(open_in(gate & ALL), lowest, 127)


def _numbered(one: str, gate: int, many: str, written: str) -> str:
    if gate == ALL:
        return many
    return f"{one if gate.bit_count() == 1 else many} {written}"


def _controllers(gate: int) -> str:
    """Controllers by their names; in longer rows by their numbers."""
    if gate == ALL:
        return KIND_WORDS[CONTROLLER]
    if gate == _CONTROLLERS:
        return "controllers 0..119"
    if gate == ALL & ~_CONTROLLERS:
        return "channel-mode messages"
    numbers = open_in(gate)
    if len(numbers) == 1:
        return f"controller {format_controller(numbers[0])}"
    if len(numbers) <= _MOST_NAMES:
        return f"controllers {', '.join(map(format_controller, numbers))}"
    if 128 - len(numbers) <= _MOST_NAMES:
        return f"controllers but {', '.join(map(format_controller, open_in(ALL & ~gate)))}"
    return f"controllers {numbers_in(gate)}"


def _bends(firsts: int, seconds: int) -> str:
    if firsts == seconds == ALL:
        return KIND_WORDS[PITCH_BEND]
    fine, coarse = open_in(firsts), open_in(seconds)
    runs = _run(coarse) if firsts == ALL else _run(fine) if len(coarse) == 1 else None
    if runs is None:
        return "some pitch bends"
    low, high = (runs[0] << 7, runs[1] << 7 | 127) if firsts == ALL else (coarse[0] << 7 | end for end in runs)
    words = span(low - BEND_CENTRE, high - BEND_CENTRE, -BEND_CENTRE, BEND_CENTRE - 1)
    return f"{'pitch bend' if low == high else 'pitch bends'} {words}"


def _run(numbers: Sequence[int]) -> tuple[int, int] | None:
    """The ends of numbers without a gap."""
    whole = numbers[-1] - numbers[0] == len(numbers) - 1
    return (numbers[0], numbers[-1]) if whole else None


def states_in(region: Region, states: Mapping[Dimension, Sequence[State]]) -> str:
    """Return what a region asks of switches, in the words of a `when`; empty where it asks nothing."""
    return " and ".join(
        _condition(dimension, gate, states[dimension]) for dimension, gate in region.given if dimension.kind == "switch"
    )


def _condition(dimension: Dimension, gate: int, states: Sequence[State]) -> str:
    name = dimension.name[0] if isinstance(dimension.name, tuple) else dimension.name
    asked = [state for code, state in enumerate(states) if gate >> code & 1]
    if len(asked) == 1 and isinstance(asked[0], bool):
        return f"{name}" if asked[0] else f"not {name}"
    if all(isinstance(state, int) for state in asked):
        return f"{name} = {ranges([int(state) for state in asked], -1000, 1000)}"
    return f"{name} = {' or '.join(map(written_state, asked))}"
