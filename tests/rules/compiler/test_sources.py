"""Which rules take a message, what turns switches, and what is left over."""

from __future__ import annotations

import pytest

from rules.compiler.compiler import Compiler
from rules.compiler.sources import SourceEntry, condition_of
from rules.program.byte_tables import ALL
from rules.program.forms import Form
from rules.rulefile.reading import read_rules
from rules.rulefile.switch_tables import Trigger

PORTS = "[ports]\nkeys = { input = true }\nrack = { output = true }\nsynth = { output = true, pass_reset = true }\n"
SWITCH = '[switches]\nup = { from = "keys", note = 1 }\nthere = { from = "keys", controller = 20, pass_on = true }\n'
DRUMS = '[[rules]]\nname = "drums"\nfrom = "keys"\nmatch = { channel = 10, notes = "..59" }\nto = "rack"\n'
REST = '[[rules]]\nname = "rest"\nfrom = "keys"\notherwise = true\nto = "synth"\n'


def entry_of(rules: str) -> SourceEntry:
    """The start of all rules of the keys; clock and transport go to both ports."""
    return Compiler(read_rules([("rules.toml", (PORTS + rules).encode())]), ()).entry("keys", (0, 1))


def form(status: int, first: int | None = None) -> Form:
    """All messages of a status, or those with one first data byte."""
    return Form(status, gate_one=ALL if first is None else 1 << first, gate_two=ALL)


def rules_that_match(rules: str, status: int, first: int | None = None) -> list[int]:
    """The numbers of the rules that take a message."""
    return [number for number, _ in entry_of(rules).taken(form(status, first))]


@pytest.mark.parametrize(
    ("status", "first", "expected"),
    [
        (0x99, 40, [0]),
        (0x99, 60, [1]),
        (0x90, 40, [1]),
        (0xB9, 64, [0, 1]),
        (0xF0, None, [1]),
    ],
)
def test_otherwise_gets_what_no_other_rule_takes(status: int, first: int | None, expected: list[int]) -> None:
    """A pedal goes along with the notes, and still counts as not taken (ruling 5)."""
    assert rules_that_match(DRUMS + REST, status, first) == expected


def test_clock_is_taken_only_where_it_is_named() -> None:
    """No rule routes it (ruling 4), not even the one for all the rest."""
    named = '[[rules]]\nfrom = "keys"\nmatch = { kind = "start" }\nsteps = [{ send = "program 1" }]\nto = "rack"\n'
    assert rules_that_match(named + REST, 0xFA) == [0]
    assert rules_that_match(named + REST, 0xF8) == []


@pytest.mark.parametrize(
    ("status", "ports"), [(0xF8, [0, 1]), (0xF2, [0, 1]), (0xF9, [0, 1]), (0xFF, [1]), (0xF0, []), (0x90, [])]
)
def test_clock_and_transport_go_by_port(status: int, ports: list[int]) -> None:
    """And a reset only where it is asked for; what an escape may hold goes the same way (rulings 26, 27, 34)."""
    assert entry_of(REST).clocked(form(status)) == ports


def test_a_trigger_is_consumed_unless_it_may_pass() -> None:
    """Press and release (ruling 25)."""
    entry = entry_of(SWITCH + REST)
    assert entry.let_in(form(0x90, 1)) == entry.let_in(form(0x80, 1)) == []
    assert entry.let_in(form(0x90, 2)) == [form(0x90, 2)]
    assert entry.let_in(form(0xB0, 20)) == [form(0xB0, 20)]


def test_a_trigger_turns_its_switch_before_rules_are_asked() -> None:
    """Its node comes first among all that becomes of the message."""
    ends = entry_of(SWITCH + REST).fold(form(0xB0, 20))
    assert [end.node is not None for end in ends] == [True, False]


def test_a_rule_that_is_switched_off_leaves_its_messages_over() -> None:
    """What it would take is left where its `when` doesn't hold (ruling 5)."""
    rules = SWITCH + '[[rules]]\nfrom = "keys"\nwhen = "up"\nto = "rack"\n' + REST
    (left,) = entry_of(rules).left([form(0x90, 60)])
    assert left.guard != form(0x90).guard


@pytest.mark.parametrize(
    ("trigger", "kind"),
    [
        ({"note": 60}, {"note"}),
        ({"controller": 64}, {"controller", "channel-mode"}),
        ({"program": 1}, {"program"}),
        ({"kind": "start"}, {"start"}),
    ],
)
def test_a_trigger_asks_for_its_kind(trigger: dict[str, object], kind: set[str]) -> None:
    """A note, a controller, a program, or a kind of transport."""
    kinds = condition_of(Trigger.model_validate({"from": "keys", **trigger})).kinds
    assert kinds is not None
    assert kinds <= kind
