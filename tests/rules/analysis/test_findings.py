"""Hints: what is allowed in rule files and yet odd is mentioned once, and nothing else is."""

from __future__ import annotations

import pytest

from rules.analysis.findings import hints_of
from rules.rulefile.reading import read_rule_set

RIG = """
[ports]
seq = { input = "Step Box*" }
keys = { input = "Pit Keyboard*" }
rack = { output = "Interface*" }
[devices]
organ = { port = "rack", channel = 4 }
wide = { port = "rack" }
[switches]
up = { from = "keys", controller = "soft pedal" }
[[on_switch]]
when = "up"
send = { organ = "program 1", wide = "program 1 1" }
"""


def hints(text: str, rig: str = RIG) -> list[str]:
    """What is said about some lines below the rig, without file and line."""
    found = hints_of(read_rule_set([("rules.toml", (rig + text).encode())]))
    return [f"{problem.place}: {problem.text}" for problem in found]


def rule(lines: str) -> str:
    """A rule from keys."""
    return f'[[rules]]\nname = "one"\nfrom = "keys"\n{lines}\n'


FOLDED = 'rule "one": all 16 channels go into one at "organ" (channel 4): if you mean only some, name them in `match`'


@pytest.mark.parametrize(
    "lines",
    [
        'to = "organ"',
        'to = ["wide", "organ"]',
        'to = "organ"\nmatch = [{ channel = 1 }, { kind = "note" }]',
        'to = "organ"\nsteps = [{ filter = { drop = { channel = 3, kind = "note" } } }]',
        'to = "organ"\nsteps = [{ rechannel = 3, when = "up" }, { velocity = 3 }]',
        'to = "wide"\n[[rules.zones]]\nchannel = 1\n[[rules.zones]]\nto = "organ"',
    ],
)
def test_sixteen_channels_into_one(lines: str) -> None:
    """A rule that folds all channels into a device's one is mentioned (ruling 8)."""
    assert FOLDED in hints(rule(lines))


@pytest.mark.parametrize(
    "lines",
    [
        'to = "wide"',
        'to = { 4 = "organ" }',
        'to = "organ"\nmatch = { channel = 1 }',
        'to = "organ"\nmatch = [{ channel = 1 }, { channel = "2..5", kind = "note" }]',
        'to = "organ"\nsteps = [{ filter = { keep = { channel = 3 } } }]',
        'to = "organ"\nsteps = [{ filter = { drop = { channel = 3 } } }]',
        'to = "organ"\nsteps = [{ rechannel = 3 }, { velocity = 3 }]',
        'to = "wide"\n[[rules.zones]]\nchannel = 1\nto = "organ"',
    ],
)
def test_channels_that_are_chosen(lines: str) -> None:
    """A rule that says which channels it means is not mentioned."""
    assert hints(rule(lines)) == []


def test_a_port_that_chooses_the_channel() -> None:
    """A port whose own steps put everything on one channel folds nothing."""
    rig = RIG.replace('"Pit Keyboard*"', '"Pit Keyboard*", steps = [{ rechannel = 2 }]')
    assert hints(rule('to = "organ"'), rig) == []


DRUMS = "channel 10 (usually drums) is transposed too: write `except_channels = 10`, or `[]` to keep that"


@pytest.mark.parametrize(
    ("lines", "place"),
    [
        ('to = "wide"\nsteps = { transpose = 12 }', 'rule "one", step 1 (transpose)'),
        ('to = "wide"\nmatch = { channel = "9..11" }\nsteps = { transpose = 1 }', 'rule "one", step 1 (transpose)'),
        ('to = "wide"\n[[rules.zones]]\nsteps = { transpose = 12 }', 'rule "one", zone 1, step 1 (transpose)'),
        ('to = "wide"\nsteps = [{ rechannel = 10 }, { transpose = 12 }]', 'rule "one", step 2 (transpose)'),
    ],
)
def test_drums_that_are_transposed(lines: str, place: str) -> None:
    """Channel 10 is moved like any other; where nobody said that it is meant, it is mentioned (ruling 19)."""
    assert hints(rule(lines)) == [f"{place}: {DRUMS}"]


@pytest.mark.parametrize(
    "lines",
    [
        'to = "wide"\nsteps = { transpose = { by = 12, except_channels = 10 } }',
        'to = "wide"\nsteps = { transpose = { by = 12, except_channels = [] } }',
        'to = "wide"\nsteps = { transpose = 0 }',
        'to = "wide"\nmatch = { channel = "1..9" }\nsteps = { transpose = 12 }',
        'to = "wide"\nmatch = { controller = "sustain" }\nsteps = { transpose = 12 }',
        'to = "wide"\nsteps = [{ rechannel = 3 }, { transpose = 12 }]',
        'to = "wide"\n[[rules.zones]]\nkind = "program"\nsteps = { transpose = 12 }',
    ],
)
def test_drums_that_are_left_alone(lines: str) -> None:
    """Where channel 10 can't come by, is named, or holds no notes, nothing is said."""
    assert hints(rule(lines)) == []


def test_drums_transposed_at_the_port() -> None:
    """A port's own steps are looked at as well."""
    rig = RIG.replace('"Pit Keyboard*"', '"Pit Keyboard*", steps = [{ rechannel = { 10 = 9 } }, { transpose = 2 }]')
    assert hints("", rig) == []
    rig = RIG.replace('"Pit Keyboard*"', '"Pit Keyboard*", steps = [{ transpose = 2 }]')
    assert hints("", rig) == [f'port "keys", step 1 (transpose): {DRUMS}']


TWO = '[[rules]]\nfrom = "seq"\nto = "wide"\n[[rules]]\nfrom = "keys"\nto = "rack"\n'
CLOCK = (
    'port "rack": clock could come from "seq" (rules.toml:14) or "keys" (rules.toml:17), so none goes out: '
    'write clock = "seq" on port "rack", or "none"'
)
LEFT_OVER = (
    'port "rack": clock comes from "seq" (rules.toml:14), although "keys" (rules.toml:17) plays here too: '
    'write clock = "seq" on port "rack", or "none"'
)


def test_two_clocks() -> None:
    """Two sources whose clock could go to one output are mentioned; so neither is sent (ruling 26)."""
    assert hints(TWO) == [CLOCK]


@pytest.mark.parametrize("clock", ["seq", "none"])
def test_a_clock_that_is_chosen(clock: str) -> None:
    """An output that says whose clock it wants needs no mention."""
    assert hints(TWO, RIG.replace('"Interface*"', f'"Interface*", clock = "{clock}"')) == []


@pytest.mark.parametrize("key", ["match = { channel = 1 }", "otherwise = true"])
def test_rules_that_bring_no_clock(key: str) -> None:
    """Only a rule without `match` and `otherwise` brings a clock along, so one of those and another are no clash."""
    assert CLOCK not in hints(TWO + key)


@pytest.mark.parametrize("clock", ["", ', clock = "seq"'])
def test_an_otherwise_rule_beside_a_whole_one(clock: str) -> None:
    """The clock comes from who plays everything; both rules are named, unless the output says whose it wants."""
    found = hints(TWO + "otherwise = true", RIG.replace('"Interface*"', f'"Interface*"{clock}'))
    assert found == ([] if clock else [LEFT_OVER])


def test_two_otherwise_rules() -> None:
    """Where no source plays everything, two that play what is left over are a clash as well."""
    text = TWO.replace('to = "wide"', 'to = "wide"\notherwise = true') + "otherwise = true"
    assert hints(text) == [CLOCK.replace("rules.toml:17", "rules.toml:18")]


def test_a_destination_that_no_zone_uses_brings_no_clock() -> None:
    """Nothing goes to the `to` of a rule whose zones all have their own (ruling 6)."""
    rig = RIG.replace('"Interface*" }', '"Interface*" }\nbox = { output = true }')
    assert hints(TWO + '[[rules.zones]]\nto = "box"\n', rig) == []


NEVER = 'rule "one", zone 1: no message matches both the rule and this zone: the zone stays silent'


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
    """A zone that asks for what the rule lets never through is mentioned."""
    assert hints(rule(f'to = "wide"\nmatch = {match}\n[[rules.zones]]\n{zone}')) == [NEVER]


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
    assert hints(rule(f'to = "wide"\nmatch = {match}\n[[rules.zones]]\n{zone}')) == []


def test_hints_have_their_lines() -> None:
    """Hints come in the order of the files, each with its line."""
    reading = read_rule_set([("rig.toml", RIG.encode()), ("rules.toml", (TWO + "steps = { transpose = 3 }").encode())])
    assert [str(hint).partition(": ")[0] for hint in hints_of(reading)] == ["rig.toml:5", "rules.toml:7"]
