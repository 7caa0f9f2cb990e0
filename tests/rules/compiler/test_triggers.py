"""Which presses wait for their release, since a longer one does something else."""

from __future__ import annotations

import pytest

from rules.compiler.cells import CellMaker
from rules.compiler.chain import Nodes
from rules.compiler.triggers import pulled_triggers
from rules.rulefile.reading import read_rules

RULES = """
[ports]
keys = {{ input = true }}
pads = {{ input = true }}
[switches]
a = {{ from = "pads", {short} }}
b = {{ from = "pads", {long}, long = 600 }}
c = {{ from = "pads", note = "C4", channel = 2, long = 300 }}
"""


def patience(short: str, long: str) -> tuple[int, ...]:
    """How long the short press waits, by channel."""
    ruleset = read_rules([("rules.toml", RULES.format(short=short, long=long).encode())])
    return pulled_triggers(ruleset, Nodes(CellMaker(())))["pads"][0].node.patience


@pytest.mark.parametrize(
    ("short", "long", "waits"),
    [
        ('note = "C4"', 'note = "C4"', {channel: 300 if channel == 2 else 600 for channel in range(1, 17)}),
        ('note = "C4", channel = 1', 'note = "C4"', {1: 600}),
        ('note = "C4", channel = 1', 'note = "C4", channel = "2..16"', {}),
        ('note = "C4", channel = "2..3"', 'note = "D4"', {2: 300}),
        ('note = "D4"', "controller = 62", {}),
        ("controller = 66", "controller = 66, channel = [3, 5]", {3: 600, 5: 600}),
        ("program = 3", 'note = "C4"', {}),
        ('kind = "start"', 'note = "C4"', {}),
        ('note = "C4", mode = "momentary"', 'note = "C4"', {}),
        ('note = "C4", long = 900', 'note = "C4"', {}),
    ],
)
def test_a_press_waits_on_the_channels_of_longer_ones(short: str, long: str, waits: dict[int, int]) -> None:
    """For the shortest of them; clock, programs, momentary switches and long presses wait for none."""
    found = patience(short, long)
    assert {channel: ms for channel, ms in enumerate(found, 1) if ms} == waits


def test_other_ports_keep_no_press_waiting() -> None:
    """The same note of another keyboard is another key."""
    assert patience('note = "D4"', 'note = "D4"')[0] == 600
    rules = RULES.replace('b = {{ from = "pads"', 'b = {{ from = "keys"').format(
        short='note = "D4"', long='note = "D4"'
    )
    ruleset = read_rules([("rules.toml", rules.encode())])
    assert set(pulled_triggers(ruleset, Nodes(CellMaker(())))["pads"][0].node.patience) == {0}
