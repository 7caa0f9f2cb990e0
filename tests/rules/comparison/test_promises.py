"""Promises of rule files: proved, refuted by the smallest message, or not decidable (ruling 36)."""

from __future__ import annotations

from collections.abc import Mapping
from functools import partial
from typing import Any

import pytest
from hypothesis import HealthCheck, Phase, given, settings
from hypothesis import strategies as st

from rules.behaviour.behaviour import Behaviour
from rules.comparison.promises import PromiseJudge, PromiseResult, judge_promises
from rules.compiler.compiler import compile_rules
from rules.rulefile.reading import read_rule_set
from tests.support.brute_force import BruteForce
from tests.support.brute_messages import all_switches, initial_switches, messages_of, region_of
from tests.support.brute_promises import BrutePromises, told
from tests.support.promise_strategies import promises
from tests.support.rule_strategies import rule_files, toml_of

RIG = """
[ports]
keys = { input = true }
pads = { input = true }
rack = { output = true }
box = { output = true }
[devices]
organ = { port = "rack", channel = 4 }
kit = { port = "rack", channel = 10 }
horn = { port = "box" }
[switches]
low = { from = "pads", note = "C6" }
place = { values = ["garden", "cave"], set = { from = "pads", note = "D6", value = "cave" } }
"""


def judged(rules: str, promise: str) -> PromiseResult:
    """How a promise about rules fares."""
    text = f'{RIG}{rules}\n[[promises]]\nname = "it"\n{promise}\n'
    reading = read_rule_set([("rules.toml", text.encode())])
    (result,) = judge_promises(reading, compile_rules(reading.ruleset))
    return result


def rule(rest: str, source: str = "keys", to: str = "organ") -> str:
    """A rule to the organ."""
    return f'[[rules]]\nfrom = "{source}"\nto = "{to}"\n{rest}\n'


FILTERED = rule('steps = [{ filter = { drop = { kind = "program" } } }]')
LOWERED = rule('match = { channel = 1 }\nsteps = [{ transpose = -12, when = "low" }]')
SPLIT = rule('match = { notes = "..59" }\nwhen = "low"') + rule('match = { notes = "60.." }', to="horn")


@pytest.mark.parametrize(
    ("rules", "promise", "says"),
    [
        (FILTERED, 'from = "keys"\nmatch = { kind = "program" }\nnever = "organ"', ""),
        (rule(""), 'from = "keys"\nmatch = { program = 3 }\nnever = "organ"', "program 1 3 from keys reaches organ"),
        # only where all is in its initial state nothing is dropped
        (
            LOWERED,
            'from = "keys"\nmatch = { kind = "note", channel = 1 }\nalways = "organ"',
            "note-on 1 C-1 1 from keys does not reach organ, with low = on",
        ),
        (LOWERED, 'from = "keys"\nmatch = { kind = "note", notes = "C0..", channel = 1 }\nalways = "organ"', ""),
        (
            LOWERED,
            'from = "keys"\nmatch = { kind = "note", notes = "C0..", channel = 1 }\nalways = "organ"\nunchanged = true',
            "note-on 1 C0 1 from keys does not reach organ unchanged, with low = on",
        ),
        (
            LOWERED,
            'from = "keys"\nmatch = { kind = "controller", channel = 1 }\nalways = "organ"\nunchanged = true',
            "controller 1 portamento control 0 from keys does not reach organ unchanged, with low = on",  # it is a key
        ),
        # what turns a switch isn't passed on
        (
            rule("", "pads", "kit"),
            'from = "pads"\nmatch = { kind = "note" }\nalways = "kit"',
            "note-on 1 C6 1 from pads does not reach kit",
        ),
        (SPLIT, 'from = "keys"\nmatch = { kind = "note" }\nalways = ["organ", "horn"]',
            "note-on 1 C-1 1 from keys does not reach organ or horn"),
        (SPLIT, 'from = "keys"\nmatch = { kind = "note", notes = "60.." }\nalways = ["organ", "horn"]', ""),
        (
            rule("steps = [{ velocity = { limit = '1..110' } }]", to="horn"),
            'from = "keys"\nnever = "horn"\nout = { velocity = "111.." }',
            "",
        ),
        (
            rule("steps = [{ velocity = { add = 20 } }]", to="horn"),
            'from = "keys"\nnever = "horn"\nout = { velocity = "111.." }',
            "note-on 1 C-1 91 from keys reaches horn",
        ),
        # a condition on what arrives restricts only what has it, where something is always to arrive
        (rule("", to="horn"), 'from = "keys"\nalways = "horn"\nout = { velocity = "1.." }', ""),
        (rule("", to="box"), 'from = "keys"\nnever = "horn"', "note-on 1 C-1 1 from keys reaches horn"),
        # a delayed note, or one with a length of its own, isn't what was played
        (
            rule("steps = [{ delay = 10 }]"),
            'from = "keys"\nmatch = { kind = "note", channel = 4 }\nalways = "organ"\nunchanged = true',
            "note-on 4 C-1 1 from keys does not reach organ unchanged",
        ),
        (
            rule("steps = [{ length = 10 }]"),
            'from = "keys"\nmatch = { kind = "note", channel = 4 }\nalways = "organ"\nunchanged = true',
            "note-on 4 C-1 1 from keys does not reach organ unchanged",
        ),
        (rule("steps = [{ send = 'sysex F0 7D F7' }]"), 'from = "keys"\nmatch = { kind = "note" }\nnever = "kit"\n'
            'out = { kind = "sysex" }', "note-on 1 C-1 1 from keys reaches kit"),
    ],
)  # fmt: skip
def test_promises_are_proved_or_refuted(rules: str, promise: str, says: str) -> None:
    """By the smallest message, with as few switches away from their initial states as can be."""
    result = judged(rules, promise)
    assert result.says == says
    assert result.verdict == ("refuted" if says else "proved")


NOTES_OF_WHEEL = rule("steps = [{ map = { from = 'controller modulation', to = 'note C4' } }]")


@pytest.mark.parametrize(
    ("rules", "promise", "says"),
    [
        (
            rule("steps = [{ thin = 20 }]"),
            'from = "keys"\nmatch = { kind = "pitch-bend" }\nalways = "organ"',
            "pitch-bend 1 -8192 from keys may not reach organ",
        ),
        (
            NOTES_OF_WHEEL,
            'from = "keys"\nmatch = { controller = "modulation" }\nnever = "organ"',
            "controller 1 modulation 64 from keys may reach organ",
        ),
    ],
)
def test_what_is_up_to_messages_before_is_not_decidable(rules: str, promise: str, says: str) -> None:
    """A `thin` may hold back a bend, and a note is made only where a wheel rises."""
    result = judged(rules, promise)
    assert (result.verdict, result.says) == ("not decidable", says)
    assert str(result.problem).endswith(f"not decidable: {says}, and that depends on messages before it")


def test_memory_that_makes_no_difference_is_no_doubt() -> None:
    """A toggle on a pedal: rises or not, one of two rules takes it, whatever the switch is at."""
    rules = rule('when = "up"', to="horn") + rule('when = "not up"', to="box")
    switch = '[switches.up]\nfrom = "keys"\ncontroller = 20\nmode = "toggle"\npass_on = true\n'
    promise = 'from = "keys"\nmatch = { controller = 20 }\nalways = ["horn"]\n'
    assert judged(switch + rules, promise).verdict == "proved"  # both lead to the box, where the horn is
    low = rule('match = { value = "..63" }', to="horn")
    assert judged(switch + low, promise).says == "controller 1 20 64 from keys does not reach horn"


def test_note_offs_go_with_their_note_ons() -> None:
    """A loud note's key, let go, ends only what the loud note began; by itself it counts only where it is named."""
    rules = rule('match = { velocity = "64.." }')
    loud = 'match = { kind = "note", velocity = "..63" }'
    assert judged(rules, f'from = "keys"\n{loud}\nnever = "organ"').verdict == "proved"
    named = judged(rules, 'from = "keys"\nmatch = { kind = "note-off" }\nnever = "organ"')
    assert named.says == "note-off 1 C-1 0 from keys reaches organ"


def test_clock_counts_where_it_is_named() -> None:
    """It goes by port, and reaches all devices of the port; without `match` no promise is about it."""
    assert judged(rule(""), 'from = "keys"\nmatch = { kind = "start" }\nalways = "organ"').verdict == "proved"
    never = 'from = "keys"\nmatch = { kind = "start" }\nnever = "organ"'
    assert judged(rule("match = { channel = 1 }"), never).verdict == "proved"
    assert judged(rule(""), 'from = "keys"\nnever = "box"').verdict == "proved"


def test_no_promises_no_results() -> None:
    """Nothing is looked at where nothing is promised."""
    reading = read_rule_set([("rules.toml", RIG.encode())])
    assert judge_promises(reading, compile_rules(reading.ruleset)) == []


@settings(
    max_examples=8,
    derandomize=True,
    database=None,
    deadline=None,
    phases=[Phase.generate],
    suppress_health_check=list(HealthCheck),
)
@given(st.data())
def test_brute_force_gives_the_same_verdicts(data: st.DataObject) -> None:
    """Random rule files and promises, three data bytes: every message in every state, for whatever is remembered."""
    file: dict[str, Any] = data.draw(rule_files(most_rules=3))[0]
    file["promises"] = [data.draw(promises(file, number)) for number in range(1, 5)]
    named = sorted(data.draw(st.sampled_from([(0, 60, 127), (1, 20, 64), (7, 62, 100)])))
    text = toml_of(file)
    ruleset = read_rule_set([("rules.toml", text.encode())]).ruleset
    brute, wanted = BruteForce(ruleset, (0, 64, 127)), BrutePromises(ruleset)
    for source in {source for promise in ruleset.promises for source in promise.source}:
        for switches in all_switches(ruleset):
            for message in messages_of(named):
                if message[0] & 0x0F in (0, 1, 2) or message[0] >= 0xF0:
                    wanted.look_at((source, message, switches), brute.outcomes(source, message, switches))
    kinds = dict.fromkeys(range(128, 240, 16), (named, named))
    judge = PromiseJudge(ruleset, Behaviour(compile_rules(ruleset), partial(region_of, kinds)))
    found = [judge.verdict(promise) for promise in ruleset.promises]
    differing = told(ruleset.promises, wanted.verdicts(), [verdict for verdict, _ in found])
    assert not differing, f"{text}\n{differing}"
    for promise, (verdict, example) in zip(ruleset.promises, found, strict=True):
        if verdict == "refuted":
            assert example is not None
            _assert_broken(brute, wanted, promise, example.source, example.message, example.switches)


def _assert_broken(
    brute: BruteForce, wanted: BrutePromises, promise: Any, source: str, message: bytes, switches: Mapping[str, Any]
) -> None:
    """The message that refutes a promise breaks it, whatever is remembered."""
    states = {**initial_switches(brute.ruleset), **switches}
    assert all(wanted.breaks(promise, message, outcome) for outcome in brute.outcomes(source, message, states))


def test_a_promise_about_a_map_of_14_bits_is_judged() -> None:
    """Its fine half becomes one of 128 messages, by the coarse half before it: they may not be cut by one another."""
    bend = rule('steps = [{ map = { from = "controller 7", to = "pitch-bend", bits = 14 } }]', to="horn")
    other = rule('when = "low"')
    result = judged(bend + other, 'from = "keys"\nnever = ["horn", "organ"]\nmatch = { controller = "7..39" }')
    assert result.verdict == "refuted"
    result = judged(
        bend + other, 'from = "keys"\nnever = ["kit", "organ"]\nmatch = { channel = 3, kind = "pitch-bend" }'
    )
    assert (result.verdict, result.example and result.example.switches) == ("refuted", {"low": True})
