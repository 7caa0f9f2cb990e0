"""Devices that can't be told apart, that nothing reaches, or that get notes which they don't have."""

from __future__ import annotations

import pytest

from tests.support.found import found

RIG = """
[ports]
keys = { input = true }
rack = { output = true }
box = { output = true }
[switches]
up = { from = "keys", note = "C1" }
"""
BASS = 'bass = { port = "rack", channel = 4, notes = "C2..C4" }'


KINDS = ("shared channel", "unreached", "notes outside")


def hints(devices: str, rule: str) -> list[str]:
    """What is said about some devices and one rule from the keys."""
    text = f'{RIG}[devices]\n{devices}\n[[rules]]\nname = "one"\nfrom = "keys"\n{rule}\n'
    return [f"{finding.place.words}: {finding.text}" for finding in found(text, *KINDS)]


CHOSEN = "match = { channel = 1 }"


def test_two_devices_on_one_channel_of_a_port_are_mentioned() -> None:
    """Whatever one of them is to play, the other plays too. At another port, or without a channel, they may."""
    devices = (
        'organ = { port = "rack", channel = 4 }\nbass = { port = "rack", channel = 4 }\n'
        'far = { port = "box", channel = 4 }\nany = { port = "rack" }\nall = { port = "rack" }'
    )
    assert hints(devices, f'{CHOSEN}\nto = ["organ", "bass", "far", "any", "all"]') == [
        'device "bass": "organ" listens on channel 4 of rack as well: both play the same.'
    ]


def test_a_device_that_nothing_reaches_is_mentioned() -> None:
    """Neither a rule, one of its zones, a line of `to`, nor what a switch sends."""
    devices = "\n".join(f'd{number} = {{ port = "rack", channel = {number} }}' for number in range(1, 6))
    rule = (
        '[[rules.zones]]\nnotes = "..B3"\nto = { 1 = "d1", "2..16" = "d2" }\n[[rules.zones]]\nto = "d3"\n'
        '[[on_switch]]\nwhen = "up"\nsend = { d4 = "program 1" }'
    )
    assert hints(devices, f"{CHOSEN}\n{rule}") == [
        'device "d2": Rules lead here, but none of their messages arrives.',
        'device "d5": No rule leads here.',
    ]


def test_a_device_whose_messages_all_end_on_the_way_is_mentioned() -> None:
    """A rule names it, and drops what it would send there."""
    assert hints('organ = { port = "rack", channel = 4 }', f'{CHOSEN}\nto = {{ 2 = "organ" }}') == [
        'device "organ": Rules lead here, but none of their messages arrives.'
    ]
    assert hints('organ = { port = "rack", channel = 4 }', f'{CHOSEN}\nto = {{ 1 = "organ" }}') == []
    assert hints('organ = { port = "rack", channel = 4 }', 'match = { channel = 4 }\nto = "rack"') == []


OUTSIDE = '"bass" has the notes C2..C4, and gets {}.'


@pytest.mark.parametrize(
    ("rule", "strays"),
    [
        ('match = { channel = 1, notes = "C2..C5" }\nto = "bass"', "C#4..C5"),
        ('match = { channel = 1, notes = "C1..C4" }\nto = "bass"', "C#1..B1"),  # C1 turns a switch
        ('match = { channel = 1, notes = ["C3", "D4"] }\nto = "bass"', "D4"),
        ('match = { channel = 1, notes = "C2..C3" }\nsteps = [{ transpose = 12 }, { transpose = 2 }]\nto = "bass"',
         "C#4..D4"),
    ],
)  # fmt: skip
def test_keys_that_a_device_does_not_have_are_mentioned(rule: str, strays: str) -> None:
    """Where a rule names its keys, behind all that moves them (ruling 8)."""
    assert hints(BASS, rule) == [f'rule "one": {OUTSIDE.format(strays)}']


@pytest.mark.parametrize("kind", ["note", "note-on"])
def test_kinds_that_hold_notes_do_not_keep_keys_from_being_mentioned(kind: str) -> None:
    """The keys are played all the same."""
    rule = f'match = {{ channel = 1, notes = "D4", kind = ["{kind}", "key-pressure"] }}\nto = "bass"'
    assert hints(BASS, rule) == [f'rule "one": {OUTSIDE.format("D4")}']


def test_a_zone_names_keys_as_well() -> None:
    """Within those of its rule."""
    rule = 'match = { channel = 1, notes = "C3.." }\nto = "bass"\n[[rules.zones]]\nnotes = "..E4"'
    assert hints(BASS, rule) == [f'rule "one", zone 1: {OUTSIDE.format("C#4..E4")}']
    assert hints(BASS, f'{rule}\nname = "low"') == [f'rule "one", zone "low": {OUTSIDE.format("C#4..E4")}']


@pytest.mark.parametrize(
    ("device", "rule"),
    [
        (BASS, f'{CHOSEN}\nto = "bass"'),
        (BASS, 'match = { channel = 1, notes = "C2..C4" }\nto = "bass"'),
        (BASS, 'match = { channel = 1, notes = "C3..C5" }\nsteps = [{ transpose = -12 }]\nto = "bass"'),
        (BASS, 'match = { channel = 1, notes = "C5" }\nsteps = [{ map = { notes = { C5 = "C3" } } }]\nto = "bass"'),
        (BASS, 'match = { channel = 1, notes = "C5" }\nsteps = [{ transpose = -12, when = "up" }]\nto = "bass"'),
        (
            BASS,
            'match = { channel = 1, notes = "C5" }\nsteps = [{ filter = { drop = { notes = "C5" } } }]\nto = "bass"',
        ),
        (BASS, 'match = { channel = 1, notes = "C5", kind = "key-pressure" }\nto = "bass"'),
        (BASS, 'match = { channel = 1, notes = "C5" }\nto = "bass"\n[[rules.zones]]\nkind = "controller"'),
        (BASS, 'match = { channel = 1, notes = "C5" }\nto = "bass"\n[[rules.zones]]\ncontroller = "volume"'),
        (BASS.replace(" }", ', outside = "drop" }'), 'match = { channel = 1, notes = "C5" }\nto = "bass"'),
        (BASS.replace(" }", ", steps = [{ transpose = -24 }] }"), 'match = { channel = 1, notes = "C5" }\nto = "bass"'),
    ],
)
def test_where_no_key_strays_for_certain_nothing_is_said(device: str, rule: str) -> None:
    """A keyboard has more keys than most instruments; and steps may do anything with them."""
    assert hints(device, rule) == []
