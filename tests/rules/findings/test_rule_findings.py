"""Rules and zones of which nothing comes."""

from __future__ import annotations

import pytest

from tests.support.found import found, shown, told

RIG = """
[ports]
keys = { input = "Pit Keyboard*" }
rack = { output = "Interface*" }
[devices]
organ = { port = "rack", channel = 4, notes = "C3..C5", outside = "drop" }
wide = { port = "rack" }
[switches]
up = { from = "keys", controller = "soft pedal" }
[[on_switch]]
when = "up"
send = { organ = "program 1", wide = "program 1 1" }
"""


def rule(lines: str) -> str:
    """A rule from keys, below the rig."""
    return f'{RIG}[[rules]]\nname = "one"\nfrom = "keys"\n{lines}\n'


NEVER = 'rule "one", zone 1: never matches: zone 1'


@pytest.mark.parametrize(
    ("match", "zone"),
    [
        ("{ channel = 1 }", "channel = 2"),
        ('{ kind = "note" }', 'kind = "controller"'),
        ("{ controller = 7 }", "controller = 10"),
        ("{ controller = 7 }", "program = 3"),
        ('{ kind = "note", notes = "C3" }', 'notes = "C4"'),
        ('{ kind = "note-on" }', 'kind = "key-pressure"'),
        ("{ controller = 7, value = 3 }", 'value = "64.."'),
    ],
)
def test_zones_that_never_match(match: str, zone: str) -> None:
    """A zone that asks for what the rule lets never through is a mistake."""
    (finding,) = found(rule(f'to = "wide"\nmatch = {match}\n[[rules.zones]]\n{zone}'), "never matches")
    assert (f"{finding.place.words}: {finding.label}", finding.severity) == (NEVER, "mistake")


@pytest.mark.parametrize(
    ("match", "zone"),
    [
        ('{ notes = "C3" }', 'notes = "C4"'),
        ('{ kind = "note" }', 'kind = "note-on"'),
        ("[{ channel = 1 }, { channel = 2 }]", "channel = 2"),
        ("{ controller = 7 }", "channel = 2"),
        ("{ controller = 7, value = 64 }", 'value = "64.."'),
    ],
)
def test_zones_that_may_match(match: str, zone: str) -> None:
    """Zones whose conditions can meet the rule's are fine; notes keep only notes apart, pedals pass (ruling 1)."""
    assert told(rule(f'to = "wide"\nmatch = {match}\n[[rules.zones]]\n{zone}'), "never matches") == []


def test_a_zone_whose_switches_contradict_its_rule() -> None:
    """The rule is open while the pedal is down, and the zone while it is up."""
    assert told(rule('when = "up"\nto = "wide"\n[[rules.zones]]\nwhen = "not up"'), "never matches") == [NEVER]
    assert told(rule('when = "up"\nto = "wide"\n[[rules.zones]]\nwhen = "up"'), "never matches") == []


STEPS = '"Pit Keyboard*", steps = [{ filter = { drop = { channel = 9 } } }]'


@pytest.mark.parametrize(
    ("rules", "severity", "why"),
    [
        (rule('match = { kind = "channel-mode", controller = 7 }\nto = "wide"'), "mistake", "no message has"),
        (rule('when = "up and not up"\nto = "wide"'), "mistake", "never true"),
        (
            rule('match = { channel = 9 }\nto = "wide"').replace('"Pit Keyboard*"', STEPS),
            "doubt",
            "steps of its port drop",
        ),
        (rule('match = { controller = "soft pedal" }\nto = "wide"'), "doubt", "Switches take all"),
        (
            rule('to = "wide"\n[[rules]]\nname = "rest"\nfrom = "keys"\notherwise = true\nto = "rack"'),
            "doubt",
            "Other rules match everything",
        ),
    ],
)
def test_rules_that_never_match(rules: str, severity: str, why: str) -> None:
    """It is a mistake where the rule contradicts itself, else a doubt; what takes its messages away is named."""
    (finding,) = found(rules, "never matches")
    assert finding.severity == severity
    assert why in finding.text


@pytest.mark.parametrize(
    "rules",
    [
        rule('match = { kind = "channel-mode", controller = 120 }\nto = "wide"'),
        rule('when = "up or not up"\nto = "wide"'),
        rule('match = { channel = "8..9" }\nto = "wide"').replace('"Pit Keyboard*"', STEPS),
        rule('match = { controller = 67 }\nto = "wide"').replace('pedal" }\n[[', 'pedal", pass_on = true }\n[['),
        rule(
            'match = { channel = 1 }\nto = "wide"\n'
            '[[rules]]\nname = "rest"\nfrom = "keys"\notherwise = true\nto = "rack"'
        ),
    ],
)  # fmt: skip
def test_rules_that_may_match(rules: str) -> None:
    """A little more than nothing is enough."""
    assert told(rules, "never matches") == []


@pytest.mark.parametrize(
    "lines",
    [
        'match = { channel = 7 }\nsteps = [{ filter = { keep = { channel = 8 } } }]\nto = "wide"',
        'match = { channel = 7 }\nto = { 8 = "wide" }',
        'match = { kind = "note", notes = "C6" }\nto = "organ"',
        'match = { kind = "note", notes = "C9" }\nsteps = [{ transpose = 12 }]\nto = "wide"',
    ],
)
def test_rules_whose_messages_are_all_lost(lines: str) -> None:
    """By a filter, the channels of `to`, the range of a device, or since there is no such key."""
    (finding,) = found(rule(lines), "all lost")
    assert (finding.label, finding.severity) == ("all lost", "mistake")
    assert finding.example is not None


def test_a_zone_whose_messages_are_all_lost() -> None:
    """It is named, and a message shows it."""
    zones = '[[rules.zones]]\nnotes = "..B3"\nto = "wide"\n[[rules.zones]]\nnotes = "C6.."\nto = "organ"'
    (finding,) = found(rule(f'match = {{ channel = 1, kind = "note" }}\n{zones}'), "all lost")
    assert (finding.place.words, finding.label) == ('rule "one", zone 2', "all lost: zone 2")
    assert shown(finding) == "note-on 1 C6 100 from keys"


@pytest.mark.parametrize(
    "lines",
    [
        'match = { channel = 7 }\nsteps = [{ filter = { keep = { channel = 7 } } }]\nto = "wide"',
        'match = { channel = 7 }\nsteps = [{ filter = { keep = { channel = 8 } }, when = "up" }]\nto = "wide"',
        'match = { channel = 7 }\nto = { 7 = "wide" }',
        "match = { channel = 7 }\nto = []",
        'match = { kind = "note", notes = "C5..C6" }\nto = "organ"',
        'match = { kind = "note", notes = 120 }\nsteps = [{ transpose = { by = 9, outside = "octave" } }]\nto = "rack"',
    ],
)
def test_rules_of_which_something_arrives(lines: str) -> None:
    """One message in one state of the switches is enough; and an empty `to` says that it discards."""
    assert told(rule(lines), "all lost") == []
