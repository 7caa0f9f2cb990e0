"""The messages and states of switches that brute force looks at: those that rule files name, and their neighbours."""

from __future__ import annotations

import re
from collections.abc import Iterable, Iterator, Mapping, Sequence
from itertools import product
from random import Random
from typing import Any

from rules.behaviour.behaviour import whole_region
from rules.behaviour.regions import Region
from rules.midi.controllers import CONTROLLER_NUMBERS
from rules.midi.messages import BEND_CENTRE, CHANNEL_PRESSURE, CONTROLLER, KEY_PRESSURE, PITCH_BEND, PROGRAM, SYSEX
from rules.midi.notation import parse_note
from rules.program.byte_tables import gate_of
from rules.rulefile.ruleset import RuleSet
from rules.rulefile.switch_tables import NumberSwitch, OnOffSwitch, ValueSwitch
from tests.support.brute_force import OFTEN


def states_of(switch: OnOffSwitch | ValueSwitch | NumberSwitch) -> list[bool | int | str]:
    """All that a switch can be at."""
    if isinstance(switch, OnOffSwitch):
        return [False, True]
    return list(switch.values) if isinstance(switch, ValueSwitch) else list(range(*_ends_of(switch)))


def shared_states(old: RuleSet, new: RuleSet) -> dict[str, list[bool | int | str]]:
    """What every switch of two rule sets can be at in both; all, where only one has it or they have nothing shared."""
    found = {}
    for name in dict.fromkeys((*old.switches, *new.switches)):
        sides = [states_of(ruleset.switches[name]) for ruleset in (old, new) if name in ruleset.switches]
        found[name] = [state for state in sides[0] if state in sides[-1]] or sides[0]
    return found


def _ends_of(switch: NumberSwitch) -> tuple[int, int]:
    return switch.numbers[0], switch.numbers[1] + 1


def initial_switches(ruleset: RuleSet) -> dict[str, bool | int | str]:
    """The states that the switches have at first."""
    return {name: switch.first for name, switch in ruleset.switches.items()}


def all_switches(ruleset: RuleSet) -> Iterator[dict[str, bool | int | str]]:
    """Every combination of switch states."""
    return all_of({name: states_of(switch) for name, switch in ruleset.switches.items()})


def all_of(states: Mapping[str, Sequence[bool | int | str]]) -> Iterator[dict[str, bool | int | str]]:
    """Every combination of some states."""
    for combination in product(*states.values()):
        yield dict(zip(states, combination, strict=True))


def any_message(named: Sequence[int], chance: Random) -> bytes:
    """One of the messages of `messages_of`, each kind as often."""
    status = chance.choice((*range(0x80, 0xF0), *(0xF0, 0xFA) * 3))
    if status >= 0xF0:
        return b"\xf0\x7d\xf7" if status == 0xF0 else b"\xfa"
    data = [chance.choice(named) for _ in range(1 if status & 0xE0 == 0xC0 else 2)]
    return bytes((status, *data))


def messages_of(bytes_named: Iterable[int]) -> Iterator[bytes]:
    """Short channel messages of all kinds and channels, whose data bytes are some, and a sysex and a start."""
    named = sorted(set(bytes_named))
    for status in range(0x80, 0xF0):
        if status & 0xE0 == 0xC0:
            yield from (bytes((status, one)) for one in named)
        else:
            yield from (bytes((status, one, two)) for one in named for two in named)
    yield from (b"\xf0\x7d\xf7", b"\xfa")


_WORDS = re.compile(r"[A-G][#b]?-?\d+|-?\d+|[a-z][a-z ]*[a-z]")


BytesOfKinds = Mapping[int, tuple[Sequence[int], Sequence[int]]]
"""For each kind of channel message (its status without channel) the first and second data bytes to look at."""

NAMED_CHANNELS = (0, 1, 2)
"""The channels that random rules name, from 0."""

_NAMING_KEYS = ("note", "notes", "setup", "send", "play", "messages")
_NAMING_CONTROLLERS = ("controller", "controllers", "chase", "map", "from", "to", "send", "messages", "setup")


def bytes_of_kinds(*files: Any) -> BytesOfKinds:
    """The data bytes that rule files name, with their neighbours: keys for keys, controllers for controllers."""
    every = set().union(*(named_bytes(file) for file in files))
    keys = set().union(*(_near(_under(file, _NAMING_KEYS)) for file in files))
    controllers = set().union(*(_near(_under(file, _NAMING_CONTROLLERS)) for file in files))
    values = set().union(*(_near(_under(file, _NAMING_VALUES)) for file in files))
    notes = sorted(keys | set(OFTEN)), sorted(values | set(OFTEN))
    found = dict.fromkeys((0x80, 0x90, KEY_PRESSURE), notes)
    found[CONTROLLER] = sorted(controllers | set(OFTEN)), sorted(values | set(OFTEN))
    found[PROGRAM] = found[CHANNEL_PRESSURE] = sorted(every), [0]
    found[PITCH_BEND] = sorted(values | set(OFTEN)), sorted(values | set(OFTEN))
    return found


_NAMING_VALUES = ("velocity", "value", "in", "out", "limit", "points", "map", "send", "messages")


def region_of(kinds: BytesOfKinds, status: int) -> Region:
    """The region of the messages of a status with these data bytes."""
    whole = whole_region(status)
    if status >= SYSEX:
        return whole
    firsts, seconds = kinds[status & 0xF0]
    return Region(gate_of(firsts) & whole.firsts, gate_of(seconds) & whole.seconds if whole.seconds != 1 else 1)


def messages_of_kinds(kinds: BytesOfKinds) -> Iterator[bytes]:
    """All messages with these data bytes, on all channels, and a sysex."""
    for kind, (firsts, seconds) in kinds.items():
        for channel in range(16):
            if kind in (PROGRAM, CHANNEL_PRESSURE):
                yield from (bytes((kind | channel, first)) for first in firsts)
            else:
                yield from (bytes((kind | channel, first, second)) for first in firsts for second in seconds)
    yield b"\xf0\x7d\xf7"


def message_of_kinds(kinds: BytesOfKinds, chance: Random) -> bytes:
    """One of them, each kind as often, and every second one on a channel that random rules name."""
    kind = chance.choice((*kinds, SYSEX))
    if kind == SYSEX:
        return b"\xf0\x7d\xf7"
    channel = chance.choice(NAMED_CHANNELS) if chance.random() < 0.5 else chance.randrange(16)
    first, second = map(chance.choice, kinds[kind])
    return bytes((kind | channel, first, second))[: 2 if kind in (PROGRAM, CHANNEL_PRESSURE) else 3]


def _under(value: Any, names: Sequence[str], inside: bool = False) -> Iterator[int]:
    """The numbers in what stands under some settings of a rule file."""
    if isinstance(value, dict):
        for name, inner in value.items():
            if inside or name in names:
                yield from _numbers(name)
            yield from _under(inner, names, inside or name in names)
    elif isinstance(value, list):
        for inner in value:
            yield from _under(inner, names, inside)
    elif inside:
        yield from _numbers(value)


def _near(numbers: Iterable[int]) -> set[int]:
    return {near for number in numbers for near in (number - 1, number, number + 1) if 0 <= near <= 127}


def named_bytes(tables: Any) -> set[int]:
    """Every data byte that a rule file names, with its neighbours, and those at which things change most often."""
    return _near(_numbers(tables)) | set(OFTEN)


def _numbers(value: Any) -> Iterator[int]:
    """The numbers in a value of a rule file; of a bend both of its bytes."""
    if isinstance(value, dict):
        for name, inner in value.items():
            yield from _numbers(name)
            yield from _numbers(inner)
    elif isinstance(value, list):
        for inner in value:
            yield from _numbers(inner)
    elif isinstance(value, str):
        for word in _WORDS.findall(value):
            yield from _numbers_of_word(word)
    elif isinstance(value, int | float) and not isinstance(value, bool):
        yield from _numbers_of_word(str(int(value)))


def _numbers_of_word(word: str) -> Iterator[int]:
    if word.lstrip("-").isdigit():
        number = int(word)
        yield from (abs(number), number + BEND_CENTRE & 0x7F, number + BEND_CENTRE >> 7 & 0x7F)
        return
    if word in CONTROLLER_NUMBERS:
        yield CONTROLLER_NUMBERS[word]
    elif word[-1].isdigit():
        yield parse_note(word)
