"""A plan as a rule file: it is read without a finding, proves itself, and keeps what was written of the rig."""

from __future__ import annotations

import random

import pytest
import tomli_w

from rules.analysis.rule_tests import run_tests
from rules.compiler.compiler import compile_rules
from rules.errors import RuleFileError
from rules.findings.findings import findings_of
from rules.rig.channel_plan import plan_channels
from rules.rig.planned_rig import planned_rig
from rules.rig.planned_rules import Table, accept_remarks, planned_tables
from rules.rulefile.reading import Reading, read_rule_set


def planned(*texts: str) -> Table:
    """The tables of the plan for some rule files."""
    reading = read_rule_set([(f"rig{number}.toml", text.encode()) for number, text in enumerate(texts)])
    return planned_tables(reading, plan_channels(planned_rig(reading.ruleset)))


def checked(tables: Table) -> Reading:
    """The tables as they are written, and read as `check` reads them: without a finding, and all tests pass."""
    accept_remarks(tables, findings_of(read_rule_set([("plan.toml", tomli_w.dumps(tables).encode())])))
    reading = read_rule_set([("plan.toml", tomli_w.dumps(tables).encode())])
    assert [str(one) for one in findings_of(reading)] == []
    outcomes = run_tests(reading, compile_rules(reading.ruleset))
    assert [str(fault) for outcome in outcomes for fault in outcome.faults] == []
    return reading


RIG = """
middle_c = "C3"
first_program = 0
[clock]
bpm = 96
[ports]
seq = "Cue Sequencer*"
keys = { input = "Pit Keyboard*", channels = 1, steps = [{ velocity = 90, when = "up" }] }
rack1 = { output = "Pit Interface*1", connection = "din", clock = "seq" }
[switches]
up = { from = "keys", controller = "soft pedal" }
key = { numbers = "-6..6", accept = { "unset switch" = "set by hand" } }
other = { from = "keys", controller = 80 }
[devices]
bass = { port = "rack1", channel = 4, notes = "C-1..C2", setup = ["program 0"] }
organ = { port = "rack1", channels = "3..4", steps = [{ transpose = "key" }] }
stuck = { port = "rack1", channel = 4 }
[[rules]]
from = "seq"
to = "bass"
"""


def test_what_was_written_stays() -> None:
    """Ports, notes and programs as they were; switches that steps ask for; no rules but those of the plan."""
    tables = planned(RIG)
    reading = checked(tables)
    assert (tables["middle_c"], tables["first_program"], tables["clock"]) == ("C3", 0, {"bpm": 96})
    assert tables["ports"]["seq"] == "Cue Sequencer*"
    kept = {"output": "Pit Interface*1", "connection": "din", "clock": "seq", "accept": {"DIN load": "as planned"}}
    assert tables["ports"]["rack1"] == kept
    assert tables["devices"] == {
        "bass": {"port": "rack1", "channel": 4, "notes": "C-1..C2", "setup": ["program 0"]},
        "organ": {"port": "rack1", "channel": 3, "steps": [{"transpose": "key"}]},
    }
    assert list(tables["switches"]) == ["up", "key"]
    assert [(rule["from"], rule["match"], rule["to"]) for rule in tables["rules"]] == [
        ("seq", {"channel": [3, 4]}, {"3": "organ", "4": "bass"}),
        ("keys", {"channel": [1]}, {"1": "bass"}),
    ]
    assert list(reading.ruleset.devices) == ["bass", "organ"]


def test_each_way_has_a_test() -> None:
    """A note that the device can play; where steps change notes, there is none."""
    tests = planned(RIG)["tests"]
    assert tests == [
        {
            "name": "channel 4 of seq plays bass alone",
            "from": "seq",
            "play": ["note-on 4 C2 80", "note-off 4 C2"],
            "expect": {"bass": ["note-on C2 80", "note-off C2"]},
        }
    ]


def test_the_tests_notice_a_wrong_rule() -> None:
    """They would fail if another device played too."""
    tables = planned(RIG)
    tables["rules"][0]["to"] = {"3": "organ", "4": ["bass", "organ"]}
    reading = read_rule_set([("plan.toml", tomli_w.dumps(tables).encode())])
    assert not all(outcome.passed for outcome in run_tests(reading, compile_rules(reading.ruleset)))


def test_steps_of_an_input_come_before_the_rule() -> None:
    """The sheet says what to send, the rule what arrives; a channel that is dropped, or becomes another, isn't used."""
    rig = """
[ports]
rack = "Interface*"
[ports.keys]
input = "Keys*"
channels = "1..3"
steps = [{ rechannel = { 1 = 5 } }, { filter = { drop = { channel = 3 } } }]
[devices]
organ = { port = "rack", channel = 1 }
bass = { port = "rack", channel = 2 }
pad = { port = "rack", channels = "1..16" }
"""
    tables = planned(rig)
    checked(tables)
    (rule,) = tables["rules"]
    assert (rule["match"], rule["to"]) == ({"channel": [5, 2]}, {"5": "organ", "2": "bass"})
    assert list(tables["devices"]) == ["organ", "bass"]


def test_a_device_whose_steps_choose_its_channel() -> None:
    """The plan does that, after all steps."""
    rig = '[ports]\nseq = { input = "S*" }\nrack = "R*"\n[devices]\n'
    with pytest.raises(RuleFileError, match=r'device "pad": the plan sets the channel after the last step'):
        planned(rig + 'pad = { port = "rack", channels = "1..16", steps = [{ rechannel = 3 }] }\n')


def test_what_a_plan_brings_with_it_is_accepted() -> None:
    """Two inputs may sound one note, and a cable may be full; what was accepted before and is gone is taken back."""
    rig = """
[ports]
seq = { input = "S*" }
keys = { input = "K*" }
rack = { output = "R*", connection = "din", accept = { "one clock too many" = "for a test" } }
[devices]
organ = { port = "rack", channel = 1 }
"""
    tables = planned(rig)
    checked(tables)
    assert tables["ports"]["rack"]["accept"] == {"DIN load": "as planned"}
    accepted = [reason for rule in tables["rules"] for reason in rule.get("accept", {}).values()]
    assert accepted == ["several inputs play it, as planned"]


def test_files_that_count_in_different_ways_are_refused() -> None:
    """Their notes and programs can't be written into one file as they are."""
    with pytest.raises(RuleFileError, match=r"rig1.toml counts notes or programs in another way than rig0.toml"):
        planned('[ports]\nseq = { input = "S*" }\nrack = "R*"\n', 'middle_c = "C3"\n[devices]\na = { port = "rack" }\n')


def random_rig(chance: random.Random) -> str:
    """A rig of up to twelve instruments, with keyboards that send little, and cables back."""
    lines = ["[ports]", 'seq = "Cue Sequencer*"', f'keys = {{ input = "Keys*", channels = {chance.randint(1, 16)} }}']
    lines.append(f'pads = {{ input = "Pads*", channels = [10, {chance.randint(1, 9)}] }}')
    lines += [f'rack{n} = {{ output = "Interface*{n}", connection = "din" }}' for n in (1, 2, 3)]
    lines.append("[devices]")
    for number in range(chance.randint(1, 12)):
        settings = [f'port = "{chance.choice(("rack1", "rack2", "rack3", "seq"))}"']
        form = chance.random()
        if form < 0.5:
            settings.append(f"channel = {chance.choice((1, 2, 4, 4, 10))}")
        elif form < 0.9:
            settings.append(f'channels = "{chance.randint(1, 4)}..{chance.randint(4, 16)}"')
        if chance.random() < 0.3:
            outside = chance.choice(("pass", "drop", "octave"))
            settings.append(f'notes = "C{chance.randint(0, 3)}..C{chance.randint(4, 7)}", outside = "{outside}"')
        if chance.random() < 0.1:
            settings.append('returns = "keys"')
        lines.append(f'"device {number}" = {{ {", ".join(settings)} }}')
    return "\n".join(lines) + "\n"


@pytest.mark.parametrize("seed", range(25))
def test_every_plan_passes_check(seed: int) -> None:
    """Whatever the rig is: the file is read without a finding, and its tests prove that each device plays alone."""
    tables = planned(random_rig(random.Random(seed)))
    reading = checked(tables)
    assert len(reading.tests) == sum(len(rule["to"]) for rule in tables["rules"])
