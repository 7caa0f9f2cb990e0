"""What single messages become by the ways of compiled rules, in the form in which brute force says it."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from itertools import product

from rules.behaviour.behaviour import Behaviour, Way
from rules.behaviour.regions import Dimension
from rules.compiler.compiler import compile_rules
from rules.midi.messages import NOTE_ON, SYSEX, split_message
from rules.midi.notation import format_message
from rules.rulefile.ruleset import RuleSet
from tests.support.brute_force import Arrival, BruteForce, Outcome, Switches


def difference(ruleset: RuleSet, cases: Sequence[tuple[str, bytes, Switches]], values: Sequence[int]) -> str:
    """What ways and brute force say differently of messages from sources in states of the switches; empty if nothing.

    `values` are what pairs of 14 bits may remember.
    """
    brute = BruteForce(ruleset, values)
    behaviour = Behaviour(compile_rules(ruleset))
    for source, message, switches in cases:
        wanted = brute.outcomes(source, message, switches)
        found = outcomes(behaviour, source, message, switches, values)
        if wanted != found:
            lines = [f"{format_message(message)} ({message.hex(' ')}) from {source}, {dict(switches)}"]
            lines += [f"brute force alone: {outcome}" for outcome in wanted - found]
            lines += [f"ways alone: {outcome}" for outcome in found - wanted]
            return "\n".join(lines)
    return ""


def word_of(behaviour: Behaviour, switches: Switches) -> int:
    """The word for states of the switches."""
    layout = behaviour.pipeline.layout
    word = layout.initial
    for name, state in switches.items():
        word = layout.turned(word, name, state)
    return word


def outcomes(
    behaviour: Behaviour, source: str, message: bytes, switches: Switches, values: Sequence[int]
) -> set[Outcome]:
    """Everything that one message may become, one outcome for each thing that may be remembered."""
    number = behaviour.pipeline.sources.index(source)
    ways = behaviour.outcome(number, message, word_of(behaviour, switches))
    return {
        frozenset(_arrival(behaviour, way, message) for way in ways if _is_so(way, memory))
        for memory in _memories(ways, values)
    }


def _memories(ways: Sequence[Way], values: Sequence[int]) -> Iterator[dict[Dimension, int]]:
    """Everything that may be remembered, as far as it makes a difference to some ways."""
    gates: dict[Dimension, set[int]] = {}
    for way in ways:
        for dimension, gate in way.given:
            if dimension.kind != "switch":
                gates.setdefault(dimension, set()).add(gate)
    # Of the values that open the same ways one will do.
    telling = [
        {tuple(gate >> value & 1 for gate in sorted(asked)): value for value in values} for asked in gates.values()
    ]
    for chosen in product(*(classes.values() for classes in telling)):
        yield dict(zip(gates, chosen, strict=True))


def _is_so(way: Way, memory: dict[Dimension, int]) -> bool:
    return all(dimension.kind == "switch" or gate >> memory[dimension] & 1 for dimension, gate in way.given)


def _arrival(behaviour: Behaviour, way: Way, message: bytes) -> Arrival:
    data = way.arriving(*split_message(message)[1:])
    if data[0] >= SYSEX and not way.written:
        data = message
    release = way.form.release if data[0] & 0xF0 == NOTE_ON else None
    if release is not None and release[:128] == bytes(range(128)):
        release = None
    port = behaviour.pipeline.ports[way.form.target]
    return Arrival(port, data, way.delay, way.lasts, release[:128] if release is not None else None)
