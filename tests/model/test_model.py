"""The slow model's own parts, held against sums and answers worked out by hand."""

from __future__ import annotations

import pytest

from rules.steps.echo import EchoStep
from rules.steps.map import MapStep
from rules.steps.velocity import VelocityStep
from tests.model.arithmetic import echo_copies, mapped_value, moved_key, shaped_velocity
from tests.model.reach import Reach
from tests.rulings.cases import with_ports
from tests.support.playing import ruleset_of


@pytest.mark.parametrize(
    ("key", "by", "outside", "moved"),
    [
        (60, 12, "drop", 72),
        (120, 8, "drop", None),
        (120, 8, "octave", 116),
        (3, -5, "octave", 10),
        (0, -127, "octave", 5),
    ],
)
def test_moved_key(key: int, by: int, outside: str, moved: int | None) -> None:
    """A key outside 0-127 is dropped, or moved to the nearest octave inside (ruling 19)."""
    assert moved_key(key, by, outside) == moved


@pytest.mark.parametrize(
    ("step", "velocity", "shaped"),
    [
        ({"points": [[10, 20], [64, 80]]}, 37, 50),  # 20 + 27 * 60 / 54
        ({"quieter": 1}, 64, 32),  # 127 * (64 / 127) ** 2 = 32.25
        ({"louder": 1}, 64, 90),  # 127 * (64 / 127) ** 0.5 = 90.16
        ({"percent": 50, "add": 10}, 25, 23),  # 22.5
        ({"add": -60}, 20, 1),
        ({"limit": "30..100"}, 127, 100),
        ({"scale_to": "20..127"}, 64, 74),  # 73.5
        (99, 1, 99),
    ],
)
def test_shaped_velocity(step: object, velocity: int, shaped: int) -> None:
    """Each shape gives what its formula gives, half up (ruling 20)."""
    assert shaped_velocity(VelocityStep.model_validate(step), velocity) == shaped


def test_echo_copies() -> None:
    """Copies of 10 at 50 percent: 5, 2.5, 1.25, 0.63 and 0.31, each from the note itself; the fifth is too soft."""
    step = EchoStep.model_validate({"ms": 1, "times": 6, "decay": 50, "transpose": -2})
    assert echo_copies(step, 60, 10) == [(1, 58, 5), (2, 56, 3), (3, 54, 1), (4, 52, 1)]


def test_echo_copies_end_outside_the_keys() -> None:
    """A copy whose key leaves 0-127 ends the echo."""
    step = EchoStep.model_validate({"ms": 1, "times": 6, "decay": 0, "transpose": 40})
    assert echo_copies(step, 60, 10) == [(1, 100, 10)]


@pytest.mark.parametrize(
    ("step", "value", "mapped"),
    [
        ({"from": "controller 1", "to": "controller 2", "out": "127..0"}, 1, 126),
        ({"from": "controller 1", "to": "controller 2", "in": "10..20", "out": "0..100"}, 30, 100),
        ({"from": "channel-pressure", "to": "pitch-bend"}, 64, 0),
        ({"from": "channel-pressure", "to": "pitch-bend", "out": "0..8191"}, 127, 8191),
        ({"from": "pitch-bend", "to": "channel-pressure"}, 0, 64),
        ({"from": "controller 1", "to": "channel-pressure", "bits": 14}, 16383, 127),
    ],
)
def test_mapped_value(step: object, value: int, mapped: int) -> None:
    """A map spreads its range over the other, and the middle of a bend stays the middle (ruling 21)."""
    assert mapped_value(MapStep.model_validate(step), value) == mapped


BANKS = """
[devices]
organ = { port = "synth", channel = 4 }
[switches]
up = { from = "pads", note = "C1" }
[[rules]]
from = "keys"
match = { channel = "1..3" }
to = "synth"
[[rules]]
from = "pads"
match = { controller = "modulation" }
steps = [{ rechannel = 2 }, { map = { from = "controller modulation", to = "program" }, when = "up" }]
to = "synth"
[[rules]]
from = "pads"
match = { kind = "note" }
steps = [{ send = "program 3 9" }]
to = ["organ", "rack"]
[[rules]]
from = "seq"
match = { program = "1..4" }
to = "organ"
[[rules]]
from = "seq"
otherwise = true
steps = [{ filter = { drop = { kind = "controller" } } }]
to = "rack"
"""


@pytest.mark.parametrize(
    ("port", "channel", "shared"),
    [
        ("synth", 1, False),  # the keys alone
        ("synth", 2, True),  # with the wheel of the pads, while the switch is on
        ("synth", 3, False),
        ("synth", 4, True),  # two ways into the organ
        ("rack", 3, True),  # programs that the organ's rule doesn't take, and the pads' one
        ("rack", 1, False),
    ],
)
def test_shared_banks(port: str, channel: int, shared: bool) -> None:
    """Two sources share an output channel where both can choose sounds on it at some setting (ruling 16)."""
    assert Reach(ruleset_of(with_ports(BANKS))).shares_banks((port, channel - 1)) is shared
