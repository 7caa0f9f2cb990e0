"""Tests in rule files: what they accept, and what they say when something else comes out (ruling 35)."""

from __future__ import annotations

import pytest

from rules.analysis.rule_tests import RuleTestResult, run_tests
from rules.compiler.compiler import compile_rules
from rules.rulefile.reading import read_rule_set
from tests.support.counting import calls_made

RIG = """
[ports]
keys = { input = "Pit Keyboard*" }
pads = { input = "Pad Box*" }
rack = { output = "Interface*", clock = "keys" }
take = { output = true, virtual = true }
[devices]
organ = { port = "rack", channel = 4 }
kit = { port = "rack", channel = 10 }
[switches]
up = { from = "keys", controller = "soft pedal", mode = "momentary" }
song = { values = ["verse", "chorus"] }
[[on_switch]]
when = "song = chorus"
send = { organ = "program 3" }
[[rules]]
name = "keyboard"
from = "keys"
match = { channel = "1..9" }
steps = [{ transpose = 12, when = "up" }]
to = "organ"
[[rules]]
name = "drums"
from = "pads"
steps = [{ delay = 12.5, when = "song = chorus" }]
to = { 10 = ["kit", "take"] }
"""


OWN = (
    RIG.replace('clock = "keys"', 'clock = "own"')
    + """
[[on_switch]]
when = "up"
bpm = 60
do = "clock start"
[[rules]]
name = "late"
from = "pads"
match = { channel = 16 }
steps = [{ delay = { beats = 1 } }]
to = "rack"
"""
)


def test_our_clock_sends_transport_and_no_ticks() -> None:
    """And its tempo counts for what comes later."""
    text = f"""{OWN}
[[tests]]
name = "one"
from = "keys"
play = [
  "at 0 ms controller 1 soft-pedal 127",
  "at 10 ms from pads note-on 16 C4 9",
  "at 20 ms from pads note-off 16 C4",
]
expect = {{ rack = ["at 0 ms start", "at 1010 ms note-on 16 C4 9", "at 1020 ms note-off 16 C4"] }}
"""
    reading = read_rule_set([("rules.toml", text.encode())])
    (outcome,) = run_tests(reading, compile_rules(reading.ruleset))
    assert [fault.text for fault in outcome.faults] == []


def proven(test: str, more: str = "") -> RuleTestResult:
    """How one test goes."""
    text = f'{more}{RIG}\n[[tests]]\nname = "one"\nfrom = "keys"\n{test}\n'
    reading = read_rule_set([("rules.toml", text.encode())])
    (outcome,) = run_tests(reading, compile_rules(reading.ruleset))
    return outcome


def faults(test: str, more: str = "") -> list[str]:
    """What is said about one test, without its file and name."""
    return [fault.text for fault in proven(test, more).faults]


@pytest.mark.parametrize(
    "test",
    [
        'play = "note-on 1 C4 100"\nexpect = { organ = "note-on 4 C4 100" }',
        'play = "note-on 1 C4 100"\nexpect = { organ = "note-on C4 100" }',
        'play = "note-on 1 C4 100"\nexpect = { rack = "note-on 4 C4 100" }',
        'play = "90 3C 64"\nexpect = { rack = "93 3C 64", organ = "note-on C4 100", kit = [] }',
        'play = "note-on 16 C4 100"\nexpect = {}',
        'play = "from pads note-on 10 C4 9"\nexpect = { kit = "note-on C4 9", take = "note-on 10 C4 9" }',
        'play = ["note-on 1 C4 9", "note-off 1 C4"]\nexpect = { organ = ["note-on C4 9", "note-off C4"] }',
        'play = "note-on 1 C4 9"\nswitches = { up = true }\nexpect = { organ = "note-on C5 9" }',
        'play = ["controller 1 soft 127", "note-on 1 C4 9"]\nexpect = { organ = "note-on C5 9" }',
        'play = "start"\nexpect = { rack = "start" }',
        'play = "start"\nexpect = { organ = "start" }',
        'play = "sysex F0 7D 01 F7"\nexpect = {}',
    ],
)
def test_tests_that_pass(test: str) -> None:
    """Devices and ports, with and without channel, silence, switches, other sources and clock can be asserted."""
    outcome = proven(test)
    assert (outcome.faults, outcome.passed) == ((), True)
    assert (outcome.name, str(outcome.place)) == ("one", "rules.toml:28")


DELAYED = 'play = ["at 3 ms from pads note-on 10 C4 9", "at 4 ms note-on 1 C3 8"]\nswitches = { song = "chorus" }\n'


def test_times_of_arrival_can_be_asserted() -> None:
    """What is pending at the end still comes."""
    expect = 'expect = { organ = "at 4 ms note-on C3 8", kit = "at 15.5 ms note-on C4 9", take = "note-on 10 C4 9" }'
    assert faults(DELAYED + expect) == []


def test_a_time_that_is_wrong() -> None:
    """A message that comes at another time is told with both times; a time is never asserted unasked."""
    expect = 'expect = { organ = "note-on C3 8", kit = "at 15 ms note-on C4 9", take = "note-on 10 C4 9" }'
    assert faults(DELAYED + expect) == [
        "`expect.kit`: expected at 15 ms note-on 10 C4 9, but got at 15.5 ms note-on 10 C4 9"
    ]


def test_what_a_switch_sends_at_the_start_is_no_matter() -> None:
    """Setting the switches of a test sends nothing that the test would have to expect."""
    assert faults('play = "note-on 1 C4 9"\nswitches = { song = "chorus" }\nexpect = { organ = "note-on C4 9" }') == []


def test_something_else_came() -> None:
    """Another message than expected is told beside what was expected."""
    assert faults('play = "note-on 1 C4 100"\nexpect = { organ = "note-on D4 100" }') == [
        "`expect.organ`: expected note-on 4 D4 100, but got note-on 4 C4 100"
    ]


def test_nothing_came() -> None:
    """Silence where a message was expected is told."""
    assert faults('play = "note-on 16 C4 100"\nexpect = { organ = "note-on D4 100" }') == [
        "`expect.organ`: expected note-on 4 D4 100, but got nothing"
    ]


def test_the_order_counts() -> None:
    """The right messages in the wrong order are a fault."""
    test = 'play = ["note-on 1 C4 9", "note-on 1 D4 9"]\nexpect = { organ = ["note-on D4 9", "note-on C4 9"] }'
    assert faults(test) == [
        "`expect.organ`: expected note-on 4 D4 9, note-on 4 C4 9, but got note-on 4 C4 9, note-on 4 D4 9"
    ]


def test_outputs_that_must_stay_silent() -> None:
    """Whatever arrives at an output that isn't named is a fault, told by the name of the device it was for."""
    assert faults('play = ["note-on 1 C4 9", "start", "from pads note-on 10 C4 9"]\nexpect = { take = [] }') == [
        "`expect.take`: expected nothing, but got note-on 10 C4 9",
        '"organ" must stay silent, but got note-on 4 C4 9',
        '"rack" must stay silent, but got start',
        '"kit" must stay silent, but got note-on 10 C4 9',
    ]


def test_long_lists_show_the_first_difference() -> None:
    """Of a long list only the first message that differs is told, with its number."""
    sent = ", ".join(f'"controller 1 7 {value}"' for value in range(20))
    expected = ", ".join(f'"controller 7 {value if value != 12 else 99}"' for value in range(20))
    assert faults(f"play = [{sent}]\nexpect = {{ organ = [{expected}] }}") == [
        "`expect.organ`: message 13 of 20: expected controller 4 volume 99, but got controller 4 volume 12"
    ]
    assert faults(f"play = [{sent}]\nexpect = {{}}") == [
        '"organ" must stay silent, but got '
        + ", ".join(f"controller 4 volume {value}" for value in range(8))
        + " and 12 more"
    ]
    assert faults(f"play = [{sent}]\nexpect = {{ organ = [] }}")[0].startswith(
        "`expect.organ`: expected nothing, but got controller 4 volume 0, controller 4 volume 1, "
    )
    assert faults(
        f"play = [{sent}]\nexpect = {{ organ = [{sent.replace('controller 1', 'controller').rpartition(',')[0]}] }}"
    ) == ["`expect.organ`: after message 19: expected nothing more, but got controller 4 volume 19"]


def test_faults_speak_as_the_file_does() -> None:
    """Notes and programs in the words of a fault are counted as the file counts them (ruling 18)."""
    test = 'play = ["note-on 1 C3 9", "program 1 0"]\nexpect = { organ = [] }'
    assert faults(test, 'middle_c = "C3"\nfirst_program = 0\n') == [
        "`expect.organ`: expected nothing, but got note-on 4 C3 9, program 4 0"
    ]


def test_each_test_starts_fresh() -> None:
    """Neither switches nor held notes pass from one test to the next."""
    text = RIG + "".join(
        f'[[tests]]\nname = "{name}"\nfrom = "keys"\nplay = {play}\nexpect = {{ organ = {expect} }}\n'
        for name, play, expect in (
            ("first", '["controller 1 soft 127", "note-on 1 C4 9"]', '"note-on C5 9"'),
            ("second", '["note-on 1 C4 9"]', '"note-on C4 9"'),
        )
    )
    reading = read_rule_set([("rules.toml", text.encode())])
    outcomes = run_tests(reading, compile_rules(reading.ruleset))
    assert [(outcome.name, outcome.passed) for outcome in outcomes] == [("first", True), ("second", True)]


def test_faults_have_their_lines() -> None:
    """A fault of an expectation has that line, and one of an output that isn't named the line of the test."""
    outcome = proven('play = "from pads note-on 10 C4 9"\nexpect = { kit = [] }')
    assert [str(fault) for fault in outcome.faults] == [
        'rules.toml:32: test "one": `expect.kit`: expected nothing, but got note-on 10 C4 9',
        'rules.toml:28: test "one": "take" must stay silent, but got note-on 10 C4 9',
    ]


@pytest.mark.parametrize("last", ["at 9 ms program 9", "start"])
def test_a_long_test_takes_time_by_its_length(last: str) -> None:
    """Twice the messages are a little more than twice the work at most, also where the test fails."""

    def work(amount: int) -> int:
        played = ", ".join(f'"program 1 {number % 128 + 1}", "start"' for number in range(amount))
        expected = ", ".join('"program 5"' for _ in range(2 * amount))
        test = f'play = [{played}]\nexpect = {{ organ = [{expected}, "{last}"] }}'
        return calls_made(lambda: proven(test))

    proven('play = "start"\nexpect = {}')  # so that what is made once is there
    assert work(400) < 2.2 * work(200)
