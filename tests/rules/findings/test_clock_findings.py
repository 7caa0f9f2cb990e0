"""Clocks and transports that meet at an output, and beats without a tempo."""

from __future__ import annotations

import pytest

from tests.support.found import found, shown, told

RIG = """
[ports]
seq = { input = "Step Box*" }
keys = { input = "Pit Keyboard*" }
rack = { output = "Interface*" }
[devices]
wide = { port = "rack" }
"""
TWO = '[[rules]]\nfrom = "seq"\nto = "wide"\n[[rules]]\nfrom = "keys"\nto = "rack"\n'
CLOCK = 'port "rack": two clocks'


def test_two_clocks() -> None:
    """Two sources whose clock could go to one output are mentioned, with their rules; so neither is sent."""
    (finding,) = found(RIG + TWO, "two clocks")
    assert str(finding.place) == "rules.toml:5"
    assert finding.text == 'Clock could come from "seq" (rules.toml:8) or "keys" (rules.toml:11), so none goes out.'
    assert finding.remedy == 'Write clock = "seq" on port "rack", or "none".'
    assert [place.line for place in finding.others] == [8, 11]


@pytest.mark.parametrize("clock", ["seq", "none"])
def test_a_clock_that_is_chosen(clock: str) -> None:
    """An output that says whose clock it wants needs no mention."""
    assert told(RIG.replace('"Interface*"', f'"Interface*", clock = "{clock}"') + TWO, "two clocks") == []


@pytest.mark.parametrize("key", ["match = { channel = 1 }", "otherwise = true"])
def test_rules_that_bring_no_clock(key: str) -> None:
    """A rule with `match` brings no clock; one with `otherwise` only where no other rule does."""
    findings = found(RIG + TWO + key, "two clocks")
    assert all("so none goes out" not in finding.text for finding in findings)


@pytest.mark.parametrize("clock", ["", ', clock = "seq"'])
def test_an_otherwise_rule_beside_a_whole_one(clock: str) -> None:
    """The clock comes from who plays everything; both rules are named, unless the output says whose it wants."""
    rig = RIG.replace('"Interface*"', f'"Interface*"{clock}')
    texts = [finding.text for finding in found(rig + TWO + "otherwise = true", "two clocks")]
    left_over = 'Clock comes from "seq" (rules.toml:8), although "keys" (rules.toml:11) plays here too.'
    assert texts == ([] if clock else [left_over])


def test_two_otherwise_rules() -> None:
    """Where no source plays everything, two that play what is left over are a clash as well."""
    text = TWO.replace('to = "wide"', 'to = "wide"\notherwise = true') + "otherwise = true"
    assert told(RIG + text, "two clocks") == [CLOCK]


def test_a_destination_that_no_zone_uses_brings_no_clock() -> None:
    """Nothing goes to the `to` of a rule whose zones all have their own (ruling 6)."""
    rig = RIG.replace('"Interface*" }', '"Interface*" }\nbox = { output = true }')
    assert told(rig + TWO + '[[rules.zones]]\nto = "box"\n', "two clocks") == []


PEDAL = """
[[rules]]
name = "go"
from = "keys"
match = { controller = "sostenuto" }
steps = [{ send = "start" }]
to = "rack"
"""


def test_two_transports() -> None:
    """An output that follows one source, and is started by a pedal of another."""
    rig = RIG.replace('"Interface*"', '"Interface*", clock = "seq"')
    (finding,) = found(rig + PEDAL, "two transports")
    assert (finding.label, finding.place.words) == ("two transports: go", 'port "rack"')
    assert finding.text == 'Transport comes from "seq", and rule "go" sends some too.'
    assert shown(finding) == "controller 1 sostenuto 100 from keys"


def test_two_transports_with_our_clock() -> None:
    """An output that hears ours, and is started by a rule as well."""
    (finding,) = found(RIG.replace('"Interface*"', '"Interface*", clock = "own"') + PEDAL, "two transports")
    assert finding.text == 'Transport comes from your clock, and rule "go" sends some too.'
    assert finding.remedy == "Start and stop your clock instead, with the triggers of [clock]."


STARTS = '[clock]\nstart = { from = "keys", note = "C1" }\n'
TURNS = """
[switches]
up = { from = "keys", note = "C1" }
[[on_switch]]
when = "up"
do = "clock start"
"""


@pytest.mark.parametrize("more", [STARTS, TURNS, '[clock]\nfollow = "seq"\ngo_on = true\n'])
def test_a_clock_that_no_output_hears(more: str) -> None:
    """Whatever starts it, or keeps it going, does so for nothing."""
    (finding,) = found(RIG + more, "unheard clock")
    assert (finding.severity, finding.remedy) == ("doubt", 'Write clock = "own" on the ports that are to hear it.')
    assert told(RIG.replace('"Interface*"', '"Interface*", clock = "own"') + more, "unheard clock") == []


SONG = '[[songs]]\nname = "Tide"\n[[songs]]\nname = "Ebb"\ndo = "clock start"\n'


@pytest.mark.parametrize("more", [STARTS, TURNS, SONG])
def test_an_unheard_clock_may_be_accepted(more: str) -> None:
    """As all findings, next to what they are about: also where a switch or a song starts the clock."""
    kinds = ("unheard clock", "not found")
    assert len(told(RIG + more, *kinds)) == 1
    accept = 'accept = { "unheard clock" = "for the second set" }\n'
    assert told(RIG + more + accept, *kinds) == []
    heard = RIG.replace('"Interface*"', '"Interface*", clock = "own"')
    assert [each.split(": ", 1)[1] for each in told(heard + more + accept, *kinds)] == ["not found: unheard clock"]


@pytest.mark.parametrize("clock", ["none", "keys"])
def test_one_transport(clock: str) -> None:
    """A pedal may start an output that has no other transport, or that of the pedal's own source."""
    assert told(RIG.replace('"Interface*"', f'"Interface*", clock = "{clock}"') + PEDAL, "two transports") == []


ECHO = (
    '[[rules]]\nname = "one"\nfrom = "keys"\nmatch = { channel = 1 }\nsteps = [{ echo = { beats = 1 } }]\nto = "wide"\n'
)


@pytest.mark.parametrize("step", ["echo = { beats = 1 }", "delay = { beats = 1 }", "length = { beats = 1 }"])
def test_beats_without_a_tempo(step: str) -> None:
    """They go at 120 BPM until a clock comes, which nobody may have wanted."""
    (finding,) = found(RIG + ECHO.replace("echo = { beats = 1 }", step), "no tempo")
    assert (finding.severity, finding.place.words) == ("remark", 'rule "one"')
    assert "120 BPM" in finding.text
    assert finding.remedy == "Write `bpm` below the header [clock]."


@pytest.mark.parametrize(
    "rules",
    [
        f"clock.bpm = 96\n{RIG}{ECHO}",
        f'clock.follow = "seq"\n{RIG}{ECHO}',
        RIG.replace('"Interface*"', '"Interface*", clock = "own"') + ECHO,
        RIG.replace('"Interface*"', '"Interface*", clock = "seq"') + ECHO,
        RIG + ECHO.replace("beats = 1", "ms = 500"),
    ],
)
def test_beats_with_a_tempo(rules: str) -> None:
    """The file has one, or names a clock; milliseconds need none."""
    assert told(rules, "no tempo") == []
