"""What arrives, in words: at which device, how it was changed, and how much later."""

from __future__ import annotations

from collections.abc import Collection
from typing import Final

from rules.behaviour.message_words import keys_in, kind_of, numbers_in
from rules.behaviour.regions import Region
from rules.comparison.comparison import Result
from rules.midi.messages import (
    CHANNEL_PRESSURE,
    CONTROLLER,
    KEY_PRESSURE,
    KIND_OF_STATUS,
    LENGTH,
    NOTE_OFF,
    NOTE_ON,
    PITCH_BEND,
    PROGRAM,
    SYSEX,
)
from rules.midi.notation import Naming, format_controller, format_message
from rules.program.byte_tables import FIRST, gate_of, image, open_in
from rules.program.node import UNTIL_OTHERS
from rules.rulefile.ruleset import RuleSet
from rules.steps.wording import program_of, ranges
from rules.timing.delays import AT_ONCE, in_words

KEYED: Final = (NOTE_ON, NOTE_OFF, KEY_PRESSURE)


def destination(ruleset: RuleSet, result: Result, channel: int | None) -> str:
    """Return where a result arrives: a device, else a port; `channel` (1-16) is named unless it is as it came."""
    port = result.port
    if channel is None:
        return port
    for name, device in ruleset.devices.items():
        if (device.port, device.channel) == (port, channel):
            return f"{name} on channel {channel}"
    return f"{port} on channel {channel}"


def changes(kind: int, region: Region, result: Result, naming: Naming) -> tuple[str, ...]:
    """Return how messages of a kind and a region are changed on their way, in parts; none where they aren't."""
    form = result.form
    parts = []
    if result.written:
        parts.append(f"as {format_message(result.written, naming)}")
    elif form.status < SYSEX:
        firsts = image(form.one, region.firsts if form.feed_one == FIRST else region.seconds)
        seconds = image(form.two, region.firsts if form.feed_two == FIRST else region.seconds)
        if kind_of(form.status) != kind:
            parts.append(f"as {_other_kind(form.status, firsts, seconds, naming)}")
        else:
            parts += _other_bytes(kind, region, result, firsts, seconds, naming)
    if form.release is not None and kind == NOTE_ON:
        parts.append("with other release velocities")
    if result.lasts is not None:
        latched = result.lasts == UNTIL_OTHERS
        parts.append("until other keys end it" if latched else f"each {in_words(result.lasts)} long")
    if result.delay != AT_ONCE:
        parts.append(f"{in_words(result.delay)} later")
    return tuple(parts)


def _other_kind(status: int, firsts: int, seconds: int, naming: Naming) -> str:
    """Messages of another kind than what came."""
    if firsts.bit_count() == 1 and (LENGTH[status] == 2 or seconds.bit_count() == 1):
        data = (open_in(firsts)[0], open_in(seconds)[0] if seconds else 0)
        word, _, *rest = format_message(bytes((status, *data))[: LENGTH[status]], naming).split(" ")
        return " ".join((word, *rest))  # the channel is told with the place where it arrives
    kind = kind_of(status)
    name = KIND_OF_STATUS[kind]
    if kind in KEYED:
        return f"{name} {keys_in(firsts, naming)}"
    if kind == CONTROLLER:
        return f"{name} {ranges(open_in(firsts), 0, 127, format_controller)}"
    return name


def _other_bytes(
    kind: int, region: Region, result: Result, firsts: int, seconds: int, naming: Naming
) -> Collection[str]:
    """How data bytes are changed of messages that keep their kind."""
    form = result.form
    one_stays = form.feed_one == FIRST and all(form.one[byte] == byte for byte in open_in(region.firsts))
    two_stays = form.feed_two != FIRST and all(form.two[byte] == byte for byte in open_in(region.seconds))
    if kind == PITCH_BEND:
        return () if one_stays and two_stays else ("with other values",)
    if kind == CHANNEL_PRESSURE:
        return () if one_stays else (f"with value {numbers_in(firsts)}",)
    if kind == PROGRAM:
        return () if one_stays else (f"as program {ranges(open_in(firsts), 0, 127, program_of(naming))}",)
    parts = []
    if not one_stays:
        if kind in KEYED:
            parts.append(_moved(form.one, form.feed_one, region, firsts, naming))
        else:
            parts.append(f"as controller {ranges(open_in(firsts), 0, 127, format_controller)}")
    if not two_stays:
        what, lowest = ("velocity", 1) if kind == NOTE_ON else ("value", 0)
        parts.append(f"with {what} {numbers_in(seconds, lowest)}")
    return parts


def _moved(table: bytes, feed: int, region: Region, firsts: int, naming: Naming) -> str:
    """By how much keys are moved, or where to."""
    if feed == FIRST:
        by = {table[key] - key for key in open_in(region.firsts)}
        if len(by) == 1 and firsts.bit_count() > 1:
            (semitones,) = by
            how = "higher" if semitones > 0 else "lower"
            return f"{abs(semitones)} semitone{'s' if abs(semitones) > 1 else ''} {how}"
    return f"as {keys_in(gate_of(open_in(firsts)), naming)}"
