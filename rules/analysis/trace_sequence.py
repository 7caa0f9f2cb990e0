"""Why several messages end up where they do, one after the other as live: each finds what those before it have left."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from typing import Final

from rules.analysis.trace import Tracer
from rules.analysis.trace_line import TraceLine
from rules.compiler.compiler import compile_rules
from rules.engine.delivery import Sent
from rules.engine.engine import Engine
from rules.engine.held import held_for
from rules.engine.session import Session
from rules.midi.messages import SYSEX, is_note_off, split_message
from rules.midi.notation import STANDARD, Naming, format_message
from rules.program.switch_states import State
from rules.program.tables import in_key_of
from rules.rulefile.ruleset import RuleSet
from rules.timing.delays import NANOSECONDS_PER_MS

ENDS_NOTE: Final = TraceLine(0, "ends what its note-on began, whatever the rules are now")
DIFFERENT: Final = TraceLine(0, "because of the messages before it, the result is different:")


def trace_sequence(
    ruleset: RuleSet,
    source: str,
    messages: Sequence[bytes],
    switches: Mapping[str, State],
    naming: Naming = STANDARD,
) -> list[list[TraceLine]]:
    """The way of each message from a source, a millisecond after the one before.

    `switches` are at the states given at first, the others at their initial ones. Raises KeyError or ValueError as
    `trace` does.
    """
    session = Session(ruleset, compile_rules(ruleset))
    tracer = Tracer(ruleset, source, naming)
    out: list[Sent] = []
    for switch, state in switches.items():
        session.turn(switch, state, 0, out)
    stories = []
    for at, message in enumerate(messages):
        now = at * NANOSECONDS_PER_MS
        session.advance(now, out)
        out.clear()
        states = session.switches
        is_end = source in session.players and ends_note(session.engine, session.players[source], message)
        if source in session.players:
            session.arrive(session.players[source], message, now, out)
        went = [(session.pipeline.ports[target], data) for target, data, _, _ in out]
        stories.append(story(tracer.lines(message, states), went, naming, is_end=is_end, is_first=not at))
    return stories


def ends_note(engine: Engine, number: int, message: bytes) -> bool:
    """Return whether a message of a player is the note-off of a note that sounds."""
    if message[0] >= SYSEX or not is_note_off(message):
        return False
    status, first, _ = split_message(message)
    return bool(held_for(engine.bookkeeping, engine.players[number], in_key_of(status, first))[0])


def story(
    lines: Sequence[TraceLine],
    went: Sequence[tuple[str, bytes]],
    naming: Naming,
    *,
    is_end: bool,
    is_first: bool = False,
) -> list[TraceLine]:
    """Return the way of a message by the rules, and what `went` out at once where that is something else.

    `is_end` says that it ends a note that sounds, `is_first` that nothing came before it.
    """
    told = [outcome for line in lines if not line.late for outcome in line.outcomes]
    if is_end:
        return [ENDS_NOTE, *_arrivals(went, naming)]
    if is_first or sorted(told) == sorted(went):
        return list(lines)
    return [*lines, DIFFERENT, *_arrivals(went, naming)]


def _arrivals(went: Sequence[tuple[str, bytes]], naming: Naming) -> Iterator[TraceLine]:
    for port, message in went:
        yield TraceLine(1, f"arrives at port {port}: {format_message(message, naming)}", ((port, message),))
    if not went:
        yield TraceLine(1, "nothing goes out at once")
