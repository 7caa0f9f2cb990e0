"""Messages that meet at an output."""

from __future__ import annotations

import pytest

from tests.support.found import found, shown, told

RIG = """
[ports]
keys = { input = true }
pads = { input = true }
rack = { output = true }
[devices]
organ = { port = "rack", channel = 4 }
bass = { port = "rack", channel = 5 }
[switches]
up = { from = "keys", controller = "soft pedal" }
[[on_switch]]
when = "up"
send = { organ = "program 1", bass = "program 1" }
"""


def rules(*each: str) -> str:
    """Some rules below the rig, called 1, 2 and so on."""
    return RIG + "".join(f'[[rules]]\nname = "{at}"\n{lines}\n' for at, lines in enumerate(each, 1))


NOTES = 'kind = "note"'
KEYS = f'from = "keys"\nmatch = {{ channel = 1, {NOTES} }}\nto = "organ"'


def test_two_rules_that_sound_one_note_from_two_sources() -> None:
    """The later one is mentioned, with the notes, the device and the other rule."""
    pads = f'from = "pads"\nmatch = {{ {NOTES}, notes = "C2..E2" }}\nto = "organ"'
    (finding,) = found(rules(KEYS, pads), "one note from two sources")
    assert (finding.place.words, finding.severity) == ('rule "2"', "remark")
    assert finding.label == "one note from two sources: 1"
    assert finding.text == 'Rule "1" sounds C2..E2 there too, from another source: "organ".'
    assert shown(finding) == "note-on 1 E2 100 from pads"


@pytest.mark.parametrize(
    "second",
    [
        f'from = "keys"\nmatch = {{ {NOTES}, channel = 2 }}\nto = "organ"',
        f'from = "pads"\nmatch = {{ {NOTES} }}\nto = "bass"',
        'from = "pads"\nmatch = { kind = "controller" }\nto = "organ"',
    ],
)
def test_rules_that_never_sound_one_note(second: str) -> None:
    """One source, two devices, or no notes."""
    assert told(rules(KEYS, second), "one note from two sources") == []


def test_rules_that_are_never_open_together() -> None:
    """Neither do they, nor rules whose notes lie apart."""
    high = f'from = "keys"\nmatch = {{ {NOTES}, notes = "C4.." }}\nto = "organ"'
    low = f'from = "pads"\nmatch = {{ {NOTES}, notes = "..B3" }}\nto = "organ"'
    pads = f'from = "pads"\nmatch = {{ {NOTES} }}\nto = "organ"'
    assert told(rules(high, low), "one note from two sources") == []
    assert told(rules(f'{KEYS}\nwhen = "up"', f'{pads}\nwhen = "not up"'), "one note from two sources") == []
    assert told(rules(f'{KEYS}\nwhen = "up"', f'{pads}\nwhen = "up"'), "one note from two sources") != []


def test_two_sources_of_one_rule_are_meant() -> None:
    """Who writes both in one `from` wants them to meet."""
    both = KEYS.replace('"keys"', '["keys", "pads"]')
    assert told(rules(both), "one note from two sources") == []


def test_a_controller_that_arrives_with_two_values() -> None:
    """One rule passes it, another turns it round: the device gets both."""
    turned = 'steps = [{ map = { from = "controller volume", to = "controller volume", out = "127..0" } }]'
    first = 'from = "keys"\nmatch = { channel = 1 }\nto = "organ"'
    (finding,) = found(rules(first, f"{first}\n{turned}"), "two ways")
    assert (finding.place.words, finding.label, finding.severity) == (
        'rule "2"', "two ways: controller volume", "doubt",
    )  # fmt: skip
    assert finding.text == 'What this sends as controller volume to "organ", rule "1" sends with another value.'
    assert shown(finding) == "controller 1 volume 100 from keys"


def test_a_program_that_arrives_as_two() -> None:
    """By two zones of one rule."""
    zones = (
        '[[rules.zones]]\nto = "organ"\n[[rules.zones]]\nsteps = [{ map = { programs = { 1 = 20 } } }]\nto = "organ"'
    )
    (finding,) = found(rules(f'from = "keys"\nmatch = {{ channel = 1 }}\n{zones}'), "two ways")
    assert (finding.place.words, finding.label) == ('rule "1", zone 2', "two ways: programs")
    assert "another zone of the rule sends" in finding.text
    assert shown(finding) == "program 1 1 from keys"


@pytest.mark.parametrize(
    "second",
    [
        'from = "keys"\nmatch = { channel = 1 }\nto = "organ"',
        'from = "keys"\nmatch = { channel = 1 }\nsteps = [{ transpose = 7 }]\nto = "organ"',
        'from = "keys"\nmatch = { channel = 1 }\nsteps = [{ map = { programs = { 1 = 20 } } }]\nto = "bass"',
        'from = "keys"\nmatch = { channel = 2 }\nsteps = [{ map = { programs = { 1 = 20 } } }]\nto = "organ"',
        'from = "keys"\nmatch = { channel = 1 }\nsteps = [{ map = { controllers = { volume = "pan" } } }, '
        '{ filter = { drop = { controller = 10 } } }]\nto = "organ"',
    ],
)
def test_what_arrives_once_or_elsewhere(second: str) -> None:
    """The same value goes out once; other messages, devices and controllers are no clash."""
    first = 'from = "keys"\nmatch = { channel = 1 }\nto = "organ"'
    assert told(rules(first, second), "two ways") == []
