"""Two rule sets compared: exactly the messages that become something else."""

from __future__ import annotations

import random

from hypothesis import HealthCheck, Phase, given, settings
from hypothesis import strategies as st

from rules.comparison.comparison import Difference, compare
from rules.compiler.compiler import compile_rules
from rules.program.byte_tables import gate_of
from rules.rulefile.reading import read_rules
from rules.rulefile.ruleset import RuleSet
from tests.support.brute_comparison import BruteComparison
from tests.support.brute_force import OFTEN
from tests.support.brute_messages import any_message, named_bytes, shared_states
from tests.support.compared_messages import changes
from tests.support.rule_strategies import rule_files, toml_of

PORTS = "[ports]\nkeys = { input = true }\nrack = { output = true }\nbox = { output = true }\n"
_SAMPLE = 100


def read(text: str) -> RuleSet:
    """A rule set."""
    return read_rules([("rules.toml", text.encode())])


def differences(old: str, new: str) -> list[Difference]:
    """What differs between two texts of rules, both behind the same ports."""
    return list(compare(compile_rules(read(PORTS + old)), compile_rules(read(PORTS + new))).differences)


def rule(rest: str, to: str = "rack", name: str = "one") -> str:
    """A rule from the keys."""
    return f'[[rules]]\nname = "{name}"\nfrom = "keys"\nto = "{to}"\n{rest}\n'


@settings(
    max_examples=12,
    derandomize=True,
    database=None,
    deadline=None,
    phases=[Phase.generate],
    suppress_health_check=list(HealthCheck),
)
@given(st.data())
def test_brute_force_finds_the_same_differences(data: st.DataObject) -> None:
    """Random rules and what a reload makes of them: message by message, for whatever is remembered."""
    files = data.draw(rule_files())
    old, new = (read(toml_of(file)) for file in (files[0], files[-1]))
    found = compare(compile_rules(old), compile_rules(new))
    brute, states, chance = BruteComparison(old, new, OFTEN), shared_states(old, new), random.Random(1)
    named = sorted(named_bytes(files[0]) | named_bytes(files[-1]))
    sources = [name for ruleset in (old, new) for name, port in ruleset.ports.items() if port.can_receive]
    for _ in range(_SAMPLE):
        source, message = chance.choice(sources), any_message(named, chance)
        switches = {name: chance.choice(all_of_one) for name, all_of_one in states.items()}
        if message[0] <= 0xF0:  # clock goes by port
            wanted = brute.changes(source, message, switches)
            assert changes(found, source, message, switches, OFTEN) == wanted, (toml_of(files[0]), toml_of(files[-1]))


def test_the_same_rules_differ_in_nothing() -> None:
    """Nor do rules of other names, in another order, or one split into two."""
    split = rule('match = { notes = "..59" }') + rule('match = { notes = "60.." }\n', name="two")
    both = rule('match = [{ notes = "..59" }, { notes = "60.." }]')
    low, high = rule('match = { kind = "note" }', name="a"), rule('match = { kind = "program" }', "box", name="b")
    assert differences(rule(""), rule("", name="other")) == []
    assert differences(both, split) == []
    assert differences(low + high, high + low) == []


def test_only_what_becomes_something_else_differs() -> None:
    """A velocity limited to less: the velocities in between are as they were."""
    old, new = (rule(f"match = {{ kind = 'note', channel = 1 }}\nsteps = [{{ velocity = {{ limit = '{limit}' }} }}]")
                for limit in ("10..120", "20..110"))  # fmt: skip
    (found,) = differences(old, new)
    assert (found.source, found.status) == ("keys", 0x90)
    assert found.region.seconds == gate_of([*range(1, 20), *range(111, 128)])
    assert (len(found.before), len(found.now)) == (1, 1)


def test_a_switch_of_one_side_is_asked_about() -> None:
    """What a new switch keeps silent is so only in one of its states."""
    switch = '[switches]\nup = { from = "keys", note = 1 }\n'
    found = differences(rule("match = { program = 3 }"), switch + rule('match = { program = 3 }\nwhen = "up"'))
    asked = {(dimension.name, gate) for difference in found for dimension, gate in difference.region.given}
    assert asked == {(("up", 1), 1)}
    assert all(difference.before and not difference.now for difference in found)


def test_states_that_only_one_side_has_are_left_out() -> None:
    """A switch may get another value: in those that it had nothing has changed."""
    switch = '[switches]\nsong = {{ values = [{}], set = {{ from = "keys", note = 1, value = "a" }} }}\n'
    rules = rule('when = "song = a"')
    assert differences(switch.format('"a", "b"') + rules, switch.format('"b", "c", "a"') + rules) == []


def test_a_source_of_one_side_was_silent() -> None:
    """All that comes of its messages is new."""
    old, new = PORTS + rule(""), PORTS.replace("keys", "pads") + rule("").replace('"keys"', '"pads"')
    found = compare(compile_rules(read(old)), compile_rules(read(new))).differences
    assert {(one.source, bool(one.before), bool(one.now)) for one in found} == {
        ("keys", True, False),
        ("pads", False, True),
    }
