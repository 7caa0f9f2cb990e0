"""Channels that go where they are hardly meant to go."""

from __future__ import annotations

import pytest

from tests.support.found import found, told

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


KINDS = ("all channels", "drums moved")


def rule(lines: str) -> str:
    """A rule from keys."""
    return f'[[rules]]\nname = "one"\nfrom = "keys"\n{lines}\n'


FOLDED = 'rule "one": all channels: organ'


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
    assert told(RIG + rule(lines), "all channels") == [FOLDED]


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
    assert told(RIG + rule(lines), *KINDS) == []


def test_a_port_that_chooses_the_channel() -> None:
    """A port whose own steps put everything on one channel folds nothing."""
    rig = RIG.replace('"Pit Keyboard*"', '"Pit Keyboard*", steps = [{ rechannel = 2 }]')
    assert told(rig + rule('to = "organ"'), *KINDS) == []


DRUMS = "drums moved"


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
    assert told(RIG + rule(lines), *KINDS) == [f"{place}: {DRUMS}"]


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
    assert told(RIG + rule(lines), *KINDS) == []


def test_drums_transposed_at_the_port() -> None:
    """A port's own steps are looked at as well."""
    rig = RIG.replace('"Pit Keyboard*"', '"Pit Keyboard*", steps = [{ rechannel = { 10 = 9 } }, { transpose = 2 }]')
    assert told(rig, *KINDS) == []
    rig = RIG.replace('"Pit Keyboard*"', '"Pit Keyboard*", steps = [{ transpose = 2 }]')
    assert told(rig, *KINDS) == [f'port "keys", step 1 (transpose): {DRUMS}']


def test_what_to_write() -> None:
    """The texts name channel, device and setting."""
    (folded,) = found(RIG + rule('to = "organ"'), "all channels")
    assert (folded.severity, folded.text) == ("doubt", 'All 16 channels go into channel 4 of "organ".')
    assert folded.remedy == "If you mean only some, name them in `match`."
    (drums,) = found(RIG + rule('to = "wide"\nsteps = { transpose = 1 }'), "drums moved")
    assert drums.remedy == "Write `except_channels = 10`, or `except_channels = []` if it is meant."
