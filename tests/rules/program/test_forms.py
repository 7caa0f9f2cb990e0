"""Forms and lanes: folded once, they give what the steps give one after the other."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from rules.compiler.compiler import compile_rules
from rules.midi.messages import LENGTH
from rules.program.byte_tables import ALL, FIRST, IDENTITY, NO_BYTE, SECOND, gate_of, preimage, table_of
from rules.program.forms import Form
from rules.program.guards import holds
from rules.program.switch_states import State
from rules.program.tables import Table
from rules.rulefile.reading import read_rules
from rules.rulefile.ruleset import RuleSet
from tests.model.chain import Flow, Memory, Moment, shaped_release, through
from tests.support.rule_strategies import toml_of
from tests.support.step_strategies import chains
from tests.support.value_strategies import Rig

RIG = Rig(
    ["keys"],
    ["rack"],
    {},
    {
        "up": {"from": "keys", "kind": "start"},
        "song": {"values": ["verse", "chorus"]},
        "key": {"numbers": "-2..2"},
    },
)
STATES: dict[str, list[State]] = {"up": [False, True], "song": ["verse", "chorus"], "key": [-2, 0, 1, 2]}
EDGES = [0, 1, 6, 7, 59, 60, 61, 63, 64, 84, 100, 126, 127]
STATUSES = range(0x80, 0xF0)


def one_rule(steps: list[dict[str, Any]]) -> RuleSet:
    """A rule set of one rule with these steps, those with a memory left out."""
    rule = {"name": "it", "from": "keys", "to": "rack", "steps": steps}
    file = {
        "ports": {"keys": {"input": True}, "rack": {"output": True}},
        "devices": {},
        "switches": RIG.switches,
        "rules": [rule],
        "on_switch": [],
    }
    ruleset = read_rules([("rules.toml", toml_of(file).encode())])
    read = ruleset.rules[0]
    stateless = tuple(stage for stage in read.steps if not stage.step.remembers)
    return replace(ruleset, rules=(read.model_copy(update={"steps": stateless}),))


def bytes_of(status: int, first: int, second: int) -> bytes:
    """A channel message; the second byte is left out where the kind has none."""
    return bytes((status, first, second))[: LENGTH[status]]


def by_lanes(table: Table, word: int, message: bytes) -> list[tuple[bytes, list[int]]]:
    """What the lanes of a message's cell make of it, and of a few release velocities."""
    first, second = message[1], message[2] if len(message) > 2 else 0
    made = []
    for lane in table.rows[message[0] & 0x7F][first].lanes:
        if lane.gate[second] != NO_BYTE and holds(lane.guard, word):
            made.append((lane.message(first, second), [lane.release[v] if lane.release else v for v in EDGES]))
    return made


def by_steps(ruleset: RuleSet, switches: dict[str, State], message: bytes) -> list[tuple[bytes, list[int]]]:
    """The same by the model, one step after the other."""
    moment = Moment(switches, Memory(), 0, (0, 0, 0))
    return [
        (flow.message, [shaped_release(bytes((0x80, 0, v)), flow.release)[2] for v in EDGES])
        for flow in through(ruleset.rules[0].steps, ("it",), Flow(message), moment)
    ]


@settings(max_examples=40, suppress_health_check=[HealthCheck.too_slow])
@given(st.data())
def test_folded_lanes_give_what_the_steps_give(data: st.DataObject) -> None:
    """For random chains, switches, statuses and data bytes the lanes and the steps one by one say the same."""
    ruleset = one_rule(data.draw(chains(RIG, "rule", most=4), label="steps"))
    switches = {name: data.draw(st.sampled_from(states), label=name) for name, states in STATES.items()}
    pipeline = compile_rules(ruleset)
    word = pipeline.layout.initial
    for name, state in switches.items():
        word = pipeline.layout.turned(word, name, state)
    some = st.lists(st.integers(0, 127), min_size=3, max_size=3)
    firsts, seconds = EDGES + data.draw(some, label="first bytes"), EDGES + data.draw(some, label="second bytes")
    whole = data.draw(st.sampled_from(STATUSES), label="status looked at whole")
    samples = [(status, firsts[status % 16], seconds[status // 8 % 16]) for status in STATUSES]
    samples += [(whole, first, second) for first in firsts for second in seconds]
    for status, first, second in samples:
        message = bytes_of(status, first, second)
        if status & 0xF0 == 0x90 and second == 0:  # a note-off: the engine looks it up as one
            continue
        assert by_lanes(pipeline.tables[0], word, message) == by_steps(ruleset, switches, message), message.hex(" ")


@pytest.mark.parametrize(
    "steps",
    [
        [
            {"map": {"from": "controller 1", "to": "pitch-bend"}},
            {"filter": {"drop": {"kind": "pitch-bend", "value": "..0"}}},
        ],
        [
            {"map": {"from": "pitch-bend", "to": "controller 1"}},
            {"transpose": "key"},
            {"velocity": {"scale_to": "20..127"}},
        ],
        [
            {"velocity": {"quieter": 0.5, "release": True}},
            {"filter": {"keep": {"velocity": "30..", "notes": "40..90"}}},
        ],
    ],
)
def test_no_byte_is_folded_wrong(steps: list[dict[str, Any]]) -> None:
    """For chains that bend the tables most, each first and each second byte of every kind comes out right."""
    ruleset = one_rule(steps)
    pipeline = compile_rules(ruleset)
    switches: dict[str, State] = {"up": False, "song": "verse", "key": 0}
    for kind in range(0x80, 0xF0, 0x10):
        for first in range(128):
            for second in range(first % 5, 128, 5) if LENGTH[kind] == 3 else (0,):
                message = bytes_of(kind, first, second)
                if kind != 0x90 or second:
                    made = by_lanes(pipeline.tables[0], pipeline.layout.initial, message)
                    assert made == by_steps(ruleset, switches, message), message.hex(" ")


GATES = st.sets(st.integers(0, 127)).map(gate_of)


@given(GATES, GATES, GATES, GATES)
def test_what_is_left_and_what_was_taken_are_the_whole(one: int, two: int, part_one: int, part_two: int) -> None:
    """A form without a part of it is at most two pieces, disjoint from it and each other, that lack nothing."""
    form = Form(0x90, gate_one=one, gate_two=two)
    part = form._replace(gate_one=one & part_one, gate_two=two & part_two)
    pieces = [piece for piece in [part, *form.without(part)] if piece.exists]
    assert len(form.without(part)) <= 2
    for first in range(0, 128, 7):
        for second in range(0, 128, 7):
            inside = [p for p in pieces if p.gate_one >> first & 1 and p.gate_two >> second & 1]
            assert len(inside) == (one >> first & 1 and two >> second & 1)


@given(st.lists(st.integers(0, 127), min_size=128, max_size=128), GATES)
def test_a_preimage_is_what_leads_there(values: list[int], wanted: int) -> None:
    """The gate before a table holds just the bytes that it sends into the gate behind it."""
    gate = preimage(table_of(values.__getitem__), wanted)
    assert [gate >> byte & 1 for byte in range(128)] == [wanted >> values[byte] & 1 for byte in range(128)]


def test_a_spread_form_says_the_same_with_one_byte() -> None:
    """A form whose bytes have different feeds becomes one form for each first byte, fed by the second alone."""
    spread = Form(0xE0, gate_one=gate_of((3, 9))).spread()
    assert [(form.feed_one, form.feed_two, form.gate_one) for form in spread] == [
        (SECOND, SECOND, 1 << n) for n in (3, 9)
    ]
    assert spread[1].fourteen(64) == 64 << 7 | 9
    together = Form(0xE0, feed_one=FIRST, feed_two=FIRST)
    assert together.spread() == [together]


def test_a_plain_lane_has_its_bytes_ready() -> None:
    """Where nothing is asked, head and tail of every message are made beforehand, with nothing where a gate is shut."""
    lane = Form(0x95, gate_two=ALL & ~1, target=0).lane()
    assert lane.plain
    assert lane.heads[60] + lane.tails[100] == bytes((0x95, 60, 100)) == lane.message(60, 100)
    assert lane.tails[0] == b""
    short = Form(0xC2, one=table_of(lambda number: 127 - number)).lane()
    assert short.heads[5] + short.tails[9] == bytes((0xC2, 122)) == short.message(5, 9)


def test_a_lane_that_waits_or_crosses_is_not_plain() -> None:
    """Guards, nodes, other feeds and system messages need the general path."""
    assert not Form(0x90, guard=((1, 1),)).lane().plain
    assert not Form(0xD0, feed_one=SECOND).lane().plain
    assert not Form(0xF0).lane().plain
    assert IDENTITY[:128] == bytes(range(128))
