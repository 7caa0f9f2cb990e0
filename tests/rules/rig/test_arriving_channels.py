"""Which channels of a source can be told apart behind the steps of its port."""

from __future__ import annotations

import pytest

from rules.rig.arriving_channels import arriving_channels
from rules.rulefile.reading import read_rules


def arriving(steps: str, channels: range = range(1, 4)) -> dict[int, int]:
    """Where channels arrive that are sent to a port with steps."""
    rig = f"""
[ports]
keys = {{ input = true, steps = [{steps}] }}
[switches]
up = {{ from = "keys", controller = 67 }}
"""
    return arriving_channels(read_rules([("rig.toml", rig.encode())]), "keys", channels)


@pytest.mark.parametrize(
    ("steps", "found"),
    [
        ("", {1: 1, 2: 2, 3: 3}),
        ("{ transpose = 12 }", {1: 1, 2: 2, 3: 3}),
        ("{ delay = 5 }, { velocity = 90 }", {1: 1, 2: 2, 3: 3}),
        ("{ rechannel = { 1 = 7 } }", {1: 7, 2: 2, 3: 3}),
        ("{ rechannel = { 1 = 2, 2 = 1 } }", {1: 2, 2: 1, 3: 3}),
        ("{ rechannel = 9 }", {1: 9}),
        ("{ rechannel = 2 }", {2: 2}),
        ("{ filter = { drop = { channel = 2 } } }", {1: 1, 3: 3}),
        ('{ rechannel = { 1 = 7 }, when = "up" }', {2: 2, 3: 3}),
        ('{ filter = { keep = { kind = "controller" } } }', {}),
    ],
)
def test_what_steps_make_of_channels(steps: str, found: dict[int, int]) -> None:
    """Moved, dropped or put into one; what depends on a switch can't be relied on."""
    assert arriving(steps) == found
