"""Messages that arrive twice, and differ."""

from __future__ import annotations

import pytest

from tests.support.found import found, shown, told

RIG = """
[ports]
keys = { input = true }
rack = { output = true }
[devices]
organ = { port = "rack", channel = 4 }
bass = { port = "rack", channel = 5 }
"""


def rules(*each: str) -> str:
    """Some rules below the rig, called 1, 2 and so on."""
    return RIG + "".join(f'[[rules]]\nname = "{at}"\n{lines}\n' for at, lines in enumerate(each, 1))


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
