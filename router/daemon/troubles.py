"""What needs a look, by what a daemon says of itself: missing ports, what is lost, rules that can't be used."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from typing import Any, Final, NamedTuple

from router.text.formatting import count, number, plain

BUSY_CABLE: Final = 0.8
"""The part of a second that a DIN cable may be busy before that is worth a look."""

_STATES: Final = {
    "missing": "is missing: Pointsman waits for it",
    "ambiguous": "is ambiguous: more than one port of the computer fits",
    "server lost": "is lost: the sound server doesn't answer",
}

_REFUSED: Final = {
    "files": "the rule files have changed, and can't be used; the rules from before play on:",
    "former": "the former rules can't be put in force again; the rules of now play on:",
    "new": "the rule files have changed, and can't be put in force; the rules from before play on:",
}


class Trouble(NamedTuple):
    """Something that needs a look, in words; `kind` is "port", "rules", "lost", "cable", "late" or "error"."""

    kind: str
    words: str


def troubles(told: Mapping[str, Any]) -> Iterator[Trouble]:
    """Yield what needs a look in an answer to `status`, in the order in which a player should see it."""
    for port in told["ports"]:
        name = f"{'input' if port['direction'] == 'in' else 'output'} {plain(port['name'])}"
        if port["state"] in _STATES:
            yield Trouble("port", f"{name} {_STATES[port['state']]}")
        if lost := port["lost"] + port["refused"]:
            yield Trouble("lost", f"{name}: {count(lost, 'message')} lost")
        if (port["load"] or 0) > BUSY_CABLE:
            yield Trouble("cable", f"{name}: its DIN cable is {port['load'] * 100:.0f} % busy")
    if told["errors"]:
        yield Trouble("error", f"{count(told['errors'], 'error')}, listed in the log")
    if told["missed"]:
        words = f"{count(told['missed'], 'message')} came in faster than Pointsman can take them, and got lost"
        yield Trouble("lost", words)
    if told["excess"]:
        from rules.engine.pending_limit import MOST_PENDING  # as much as the engine, and seldom needed

        for port, amount in told["excess"].items():
            place = f"output {plain(port)}" if port else "steps that wait"
            words = f"{place}: {count(amount, 'delayed message')} dropped, more than {number(MOST_PENDING)} at once"
            yield Trouble("lost", words)
    if told["stalls"]:
        words = f"the daemon could not run, {count(told['stalls'], 'time')}; messages may be lost, see the log"
        yield Trouble("late", words)
    if told["rules"]["error"]:
        at_start = "the rule files couldn't be used; the rules that ran last play:"
        yield Trouble("rules", at_start if told["rules"]["last_good"] else _REFUSED[told["rules"]["refused"]])
        yield from (Trouble("rules", f"  {plain(line)}") for line in told["rules"]["error"].splitlines())
