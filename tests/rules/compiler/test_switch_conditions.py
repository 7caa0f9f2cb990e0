"""Conditions on switches with many alternatives: what they cost, and where they are refused."""

from __future__ import annotations

import pytest

from rules.compiler.compiler import compile_reading, compile_rules
from rules.errors import RuleFileError
from rules.program.pipeline import Pipeline
from rules.program.tables import in_key_of
from rules.rulefile.reading import read_rule_set, read_rules


def compiled(amount: int, rules: str) -> Pipeline:
    """Rules with so many pairs of switches."""
    return compile_rules(read_rules([rule_file(amount, rules)]))


def rule_file(amount: int, rules: str) -> tuple[str, bytes]:
    """A rule file with so many pairs of switches, `a0` and `b0` and so on, and two switches that count.

    ANY in them stands for a condition that asks for any of the pairs.
    """
    any_pair = " or ".join(f"a{number} and b{number}" for number in range(amount))
    switches = "".join(
        f'{name}{number} = {{ from = "keys", channel = {channel}, controller = {number} }}\n'
        for number in range(amount)
        for channel, name in enumerate("ab", 1)
    )
    switches += 'k = { numbers = "-64..64" }\nl = { numbers = "-64..64" }\n'
    ports = "[ports]\nkeys = { input = true }\nrack = { output = true }\n"
    return "rules.toml", f"{ports}[switches]\n{switches}{rules.replace('ANY', any_pair)}".encode()


RULE = '[[rules]]\nname = "first"\nfrom = "keys"\nto = "rack"\n'
NOTE_ON = in_key_of(0x90, 60)
OTHERWISE = '[[rules]]\nname = "rest"\nfrom = "keys"\notherwise = true\nto = "rack"\n'


def test_otherwise_may_follow_a_condition_with_nine_alternatives() -> None:
    """The opposite of nine pairs has 512 combinations; each form of a rule asks for it, and it is made once."""
    pipeline = compiled(9, RULE + 'when = "ANY"\n' + OTHERWISE)
    assert {len(lane.guard) for lane in pipeline.tables[0].cells[NOTE_ON].lanes if lane.rule == "rest"} == {2**9}


@pytest.mark.parametrize(
    "rules",
    [
        RULE + 'when = "ANY"\n' + OTHERWISE,
        RULE + 'when = "k = -30..30 and l = -30..30"\n',
        "".join(
            RULE.replace("first", f"first {number}") + f'when = "a{number} and b{number}"\n' for number in range(12)
        )
        + OTHERWISE,
    ],
    ids=["otherwise behind many alternatives", "ranges of two switches", "otherwise behind many rules"],
)
def test_what_would_have_too_many_combinations_is_refused(rules: str) -> None:
    """With the name of the rule or its condition, instead of an evening of computing."""
    with pytest.raises(RuleFileError, match=r"""rule files: (rule "first.*"|when = 'k.*'): conditions on"""):
        compiled(12, rules)


STEP = 'when = "k = -30..30"\nsteps = [{ transpose = 1 }, { transpose = 2, when = "l = -30..30" }]\n'
ZONES = '[[rules.zones]]\nnotes = "..B3"\n[[rules.zones]]\nnotes = "C4.."\nwhen = "l = -30..30"\n'


@pytest.mark.parametrize(
    ("rules", "line", "place"),
    [
        (RULE + 'when = "ANY"\n' + OTHERWISE, 4, 'rule "first"'),
        (RULE + "\nwhen = 'k = -30..30 and l = -30..30'\n", 5, 'rule "first"'),
        (RULE + 'when = "k = -30..30"\n' + ZONES, 9, 'rule "first", zone 2'),
        (RULE + STEP, 5, 'rule "first", step 2 (transpose)'),
        ("[[on_switch]]\nsend = { rack = 'program 1 1' }\nwhen = 'k = -30..30 and l = -30..30'", 2, "[[on_switch]] 1"),
    ],
    ids=["otherwise", "rule", "zone", "step", "on_switch"],
)
def test_the_condition_with_too_many_combinations_is_named_with_its_line(rules: str, line: int, place: str) -> None:
    """As any other mistake in a rule file."""
    file = rule_file(12, rules)
    with pytest.raises(RuleFileError) as raised:
        compile_reading(read_rule_set([file]))
    first_line = file[1].decode().split(rules[:9])[0].count("\n") + 1
    (problem,) = raised.value.problems
    assert (problem.file, problem.line, problem.place) == ("rules.toml", first_line + line, place)
    assert problem.text.startswith("`when`: conditions on switches come to more than 2,048 combinations of states: ")


def test_many_alternatives_alone_are_no_burden() -> None:
    """What no opposite is needed of may be as long as it is written."""
    pipeline = compiled(12, RULE + 'when = "ANY"\n')
    assert {len(lane.guard) for lane in pipeline.tables[0].cells[NOTE_ON].lanes} == {12}
