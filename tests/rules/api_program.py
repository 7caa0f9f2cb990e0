"""A program as a user writes it, with the types that it relies on. `scripts/check` reads it, a test runs it."""

from __future__ import annotations

from functools import partial
from typing import assert_type

import rules
from rules import MidiFileError, Outgoing, Rules, Session, load_rules, rewrite_midi

TEXTS: dict[str, str | bytes] = {
    "ports.toml": "[ports]\nkeys = { input = true }\nrack = { output = true }\n",
    "rules.toml": b'[[rules]]\nname = "up"\nfrom = "keys"\nsteps = [{ transpose = 12 }]\nto = "rack"\n',
}


def rewritten(loaded: Rules, data: bytes) -> dict[str, bytes]:
    """The results of a recording, none where it can't be read."""
    job = partial(rewrite_midi, rules=loaded, source="keys", tracks={"Bass": "keys"}, strict=True)
    try:
        result = job(data)
    except MidiFileError as error:
        assert_type(error.offset, int)
        return {}
    assert_type(result, rules.Rewritten)
    assert_type(result.report, rules.FileReport)
    assert_type(result.report.matched, dict[str, int])
    return result.outputs


def performed(session: Session) -> list[tuple[str, str, int]]:
    """Port, message in words and time (ns) of what comes out of a note."""
    out: list[Outgoing] = session.start(0)
    out += session.feed("keys", rules.parse_whole_message("note-on 1 C4 100"), now=1_000)
    while (due := session.next_due) is not None:
        assert_type(due, int)
        out += session.advance(due)
    assert_type(session.switches, dict[str, bool | str | int])
    out += session.leave(2_000)
    return [(port, rules.format_message(message), due) for port, message, due in out]


def problems(files: dict[str, str | bytes]) -> list[tuple[str, int, str]]:
    """What is wrong with rule files."""
    try:
        assert_type(load_rules(files), Rules)
    except rules.RuleFileError as error:
        assert_type(error.problems, tuple[rules.Problem, ...])
        return [(problem.file, problem.line, problem.text) for problem in error.problems]
    return []
