"""Why several messages end up where they do, one after the other as live: each finds what those before it have left."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence

from rules.analysis.trace import TraceLine, trace
from rules.compiler.compiler import compile_rules
from rules.engine.delivery import Sent
from rules.engine.session import Session
from rules.midi.messages import SYSEX, is_note_off, split_message
from rules.midi.notation import STANDARD, Naming, format_message
from rules.program.switch_states import State
from rules.program.tables import in_key_of
from rules.rulefile.ruleset import RuleSet
from rules.timing.delays import NANOSECONDS_PER_MS

ENDS_NOTE = TraceLine(0, "ends what its note-on began, whatever the rules are now")


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
    out: list[Sent] = []
    for switch, state in switches.items():
        session.turn(switch, state, 0, out)
    stories = []
    for at, message in enumerate(messages):
        now = at * NANOSECONDS_PER_MS
        session.advance(now, out)
        out.clear()
        states = session.switches
        is_end = _ends_note(session, source, message)
        if source in session.players:
            session.arrive(session.players[source], message, now, out)
        went = [(session.pipeline.ports[target], data) for target, data, _, _ in out]
        lines = trace(ruleset, source, message, states, naming)
        told = [outcome for line in lines if not line.late for outcome in line.outcomes]
        if is_end:
            lines = [ENDS_NOTE, *_arrivals(went, naming)]
        elif at and sorted(told) != sorted(went):
            lines.append(TraceLine(0, "because of the messages before it, the result is different:"))
            lines += _arrivals(went, naming)
        stories.append(lines)
    return stories


def _ends_note(session: Session, source: str, message: bytes) -> bool:
    """Whether a message is the note-off of a note that sounds."""
    if message[0] >= SYSEX or not is_note_off(message) or source not in session.players:
        return False
    status, first, _ = split_message(message)
    player = session.engine.players[session.players[source]]
    return bool(session.engine.held(player, in_key_of(status, first))[0])


def _arrivals(went: Sequence[tuple[str, bytes]], naming: Naming) -> Iterator[TraceLine]:
    for port, message in went:
        yield TraceLine(1, f"arrives at port {port}: {format_message(message, naming)}", ((port, message),))
    if not went:
        yield TraceLine(1, "nothing goes out at once")
