"""Notes that two rules sound at one output."""

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
