"""What conditions and switches answer: `match`, zones, `filter`, `when`, `otherwise`."""

from __future__ import annotations

from collections.abc import Iterable, Mapping

from rules.fields.conditions import SIGNAL_KINDS, Condition
from rules.fields.when import Term, When
from rules.rulefile.rule_tables import Rule
from tests.model.facts import (
    channel_of,
    has_channel,
    has_key,
    is_note,
    is_off,
    is_on,
    is_signal,
    kind_of,
    number_of,
    value_of,
)

Switches = Mapping[str, bool | int | str]


def fits(condition: Condition, message: bytes) -> bool:
    """In `match`, zones and `keep`: what lacks a key or a velocity is not restricted by them (ruling 1).

    A note-off has no velocity to judge: its velocity condition is taken as met (ruling 12).
    """
    if not _names(condition, message):
        return False
    if condition.notes is not None and has_key(message) and message[1] not in condition.notes:
        return False
    return not (condition.velocity is not None and is_on(message) and message[2] not in condition.velocity)


def selects(condition: Condition, message: bytes) -> bool:
    """In `drop`: only what has a key or velocity is selected by them (ruling 1)."""
    if not _names(condition, message):
        return False
    if condition.notes is not None and not (has_key(message) and message[1] in condition.notes):
        return False
    return condition.velocity is None or (is_on(message) and message[2] in condition.velocity)


def _names(condition: Condition, message: bytes) -> bool:
    """Everything but notes and velocity: kind, channel, controller, program, value."""
    kinds = condition.kinds
    if kinds is not None and not _is_of(kinds, message):
        return False
    if condition.channel is not None and not (has_channel(message) and channel_of(message) + 1 in condition.channel):
        return False
    if condition.controller is not None and number_of(message) not in condition.controller:
        return False
    if condition.program is not None and value_of(message) not in condition.program:
        return False
    return condition.value is None or condition.value[0] <= value_of(message) <= condition.value[1]


def _is_of(kinds: frozenset[str], message: bytes) -> bool:
    if is_note(message):
        return bool(kinds & {"note", "note-on"}) or (is_off(message) and "note-off" in kinds)
    return kind_of(message) in kinds


def rule_takes(rule: Rule, message: bytes) -> bool:
    """Whether a message, as it leaves the port's steps, fits the rule's `match` (rulings 3, 4).

    Clock and transport are taken only where they are named.
    """
    if is_signal(message):
        return any(condition.kinds is not None and fits(condition, message) for condition in rule.match)
    return not rule.match or any(fits(condition, message) for condition in rule.match)


def counts_as_taken(rule: Rule, message: bytes) -> bool:
    """Whether `otherwise` has to leave this message alone because of `rule` (ruling 5).

    A channel-wide message counts only where no note or velocity is asked for, or its kind is named.
    """
    if not rule.match or has_key(message):
        return rule_takes(rule, message)
    return any(
        fits(condition, message) and (condition.kinds is not None or not condition.about_notes)
        for condition in rule.match
    )


def names_kind(conditions: Iterable[Condition], kind: str) -> bool:
    """Whether a `match` names this kind itself: what makes `send` fire on a note-off or a signal."""
    assert kind == "note-off" or kind in SIGNAL_KINDS
    return any(condition.kind is not None and kind in condition.kind for condition in conditions)


def holds(when: When | None, switches: Switches) -> bool:
    """What a `when` says at these states of the switches; no `when` always holds."""
    if when is None:
        return True
    return any(all(_true(term, switches) for term in terms) for terms in when.alternatives)


def _true(term: Term, switches: Switches) -> bool:
    state = switches[term.switch]
    if term.value is None:
        answer = state is True
    elif isinstance(state, str):
        answer = state == term.value
    else:
        low, dots, high = term.value.partition("..")
        answer = int(low) == state if not dots else (int(low) if low else -999) <= state <= (int(high) if high else 999)
    return answer is not term.negated
